"""The flat object: what comes next and in which order it is looked for, and nothing claimed that is not known."""

from __future__ import annotations

from datetime import timedelta

import pytest
from msgspec.structs import replace

from planner.margin import State
from planner.reports.as_of import as_of
from planner.reports.now import FIXED_KEYS, Now, key_of, now
from planner.reports.rows import Report, RunRow
from planner.reports.sentences import BESIDE_A_SPRAY
from planner.terms import KINDS_OF_JOB, LABEL_CAUTION
from tests.reports.made import (
    NOW,
    bare,
    barred_row,
    demo,
    due_row,
    job_row,
    moment,
    not_read_row,
    ribbon_row,
    window_row,
    with_forecast,
    with_week,
    work_row,
)


def aged(hours: float, report: Report | None = None) -> Now:
    return now(as_of(report or demo(), NOW + timedelta(hours=hours)))


WINDOWS = (
    window_row("iron", "07T07:00", "07T11:00", rank=4),
    window_row("herbicide", "07T09:00", "07T12:00", rank=3),
    window_row("feed", "07T10:00", "07T16:00", rank=2, share=0.75),
    window_row("mow", "07T11:00", "07T18:00", rank=1, kind="mowing"),
)
DUE = (due_row("herbicide", due_at="07T12:00", next_start="07T09:00"),)
WANTED = (job_row("feed"), job_row("herbicide"), job_row("mow", kind="mowing"))


@pytest.mark.parametrize(
    ("parts", "job", "start"),
    [
        ({"work": True, "due": DUE, "wanted": WANTED}, "feed", "2026-05-07T13:00:00+01:00"),
        ({"due": DUE, "wanted": WANTED}, "herbicide", "2026-05-07T09:00:00+01:00"),
        ({"wanted": WANTED}, "feed", "2026-05-07T10:00:00+01:00"),
        ({}, None, None),
    ],
)
def test_next_is_the_weeks_order_else_what_is_due_else_what_is_wanted(
    parts: dict[str, object], job: str | None, start: str | None
) -> None:
    rows = {name: value for name, value in parts.items() if name != "work"}
    report = bare(windows=WINDOWS, **rows)
    if "work" in parts:
        report = with_week(report, work=[work_row("feed", "07T13:00", "07T13:45", state="narrow")])
    flat = now(report)
    assert (flat["next_job"], flat["next_start"]) == (job, start)
    assert (flat["spraying_next_job"], flat["spraying_next_start"]) == (job, start)
    # The soonest window of any job is told apart from what is planned, due or wanted.
    assert (flat["any_next_job"], flat["any_next_start"]) == ("iron", "2026-05-07T07:00:00+01:00")
    assert flat["any_mowing_next_job"] == "mow"
    assert flat["mowing_next_job"] == ("mow" if "wanted" in parts else None)


def test_placed_work_may_begin_as_late_as_its_window_lets_it() -> None:
    work = [work_row("feed", "07T13:00", "07T13:45", state="narrow")]
    flat = now(with_week(bare(windows=WINDOWS), work=work))
    assert flat["next_latest_start"] == "2026-05-07T16:00:00+01:00"
    assert (flat["next_state"], flat["next_share"], flat["next_chance"]) == ("narrow", 0.75, None)


def test_planned_work_stands_where_the_keeper_put_it() -> None:
    planned = [work_row("coring", "07T08:00", "07T12:00", kind="coring", planned=True)]
    work = [work_row("feed", "07T13:00", "07T13:45")]
    flat = now(with_week(bare(windows=WINDOWS), work=work, planned=planned))
    assert (flat["next_job"], flat["next_start"]) == ("coring", flat["next_latest_start"])
    assert (flat["next_state"], flat["next_reason"]) == (None, "Planned by you.")
    assert flat["spraying_next_job"] == "feed"


def test_a_wanted_job_has_keys_of_its_own() -> None:
    report = bare(windows=WINDOWS, wanted=(*WANTED, job_row("iron", surface="East Bank")))
    report = with_week(
        replace(report, barred=(barred_row("iron", None, surface="East Bank"),)),
        work=[work_row("feed", "07T13:00", "07T13:45", state="narrow")],
    )
    flat = now(report)
    keys = ("state", "start", "hours_until", "chance", "share")

    def of(job: str, surface: str = "bank") -> list[object]:
        return [flat[f"wanted_{key_of(job, surface)}_{key}"] for key in keys]

    assert key_of("iron", "East Bank") == "iron_east_bank"
    assert of("feed") == ["narrow", "2026-05-07T13:00:00+01:00", 7.0, None, 0.75]
    assert of("mow") == ["steady", "2026-05-07T11:00:00+01:00", 5.0, None, None]
    assert of("iron", "East Bank") == ["barred", None, None, None, None]


@pytest.mark.parametrize(
    ("at", "state", "holds"),
    [
        ("07T09:00", "steady", True),
        ("07T10:00", "narrow", True),
        # The hour holds, but the latest start is past.
        ("07T10:20", "narrow", False),
        ("07T08:00", "barred", False),
        ("07T08:00", "broken", False),
        ("07T08:00", "unread", None),
    ],
)
def test_holds_now_is_what_a_start_at_this_moment_does(at: str, state: State, holds: bool | None) -> None:
    when = moment(at)
    hour = when.replace(minute=0)
    run = RunRow(start=hour, end=hour + timedelta(hours=1), hours=1, state=state, need="", label="", says="")
    report = bare(
        when,
        wanted=(job_row("feed"),),
        windows=(window_row("feed", "07T09:00", "07T11:00", latest="07T10:15"),),
        ribbons=(replace(ribbon_row("feed", ()), runs=(run,)),),
    )
    assert now(report)["wanted_feed_bank_holds"] is holds
    # Nobody can tell of a stale forecast, nor of an hour of which there is no run.
    assert now(with_forecast(report, stale=True))["wanted_feed_bank_holds"] is None
    assert now(replace(report, ribbons=()))["wanted_feed_bank_holds"] is None


def test_no_warning_is_counted_as_none_only_where_it_is_ruled_out() -> None:
    assert now(bare())["warnings_count"] == 0
    assert now(bare(not_read=(not_read_row("wash", "Wash is not read."),)))["warnings_count"] is None
    assert now(with_forecast(bare(), stale=True))["warnings_count"] is None


def test_tonights_frost_is_that_of_the_night_that_ends_tomorrow() -> None:
    by_date = {row.date: row.frost_risk for row in reversed(demo().days)}
    flat = aged(12)
    assert flat["today_frost_risk"] == pytest.approx(by_date["2026-05-07"], abs=5e-4)
    assert flat["tomorrow_frost_risk"] == pytest.approx(by_date["2026-05-08"], abs=5e-4)


def test_no_key_is_ever_missing() -> None:
    for report in (demo(), bare(), with_forecast(demo(), stale=True)):
        assert set(FIXED_KEYS) <= set(now(report))
    rows = demo().wanted
    of_wanted = {key for key in now(demo()) if key.startswith("wanted_")}
    assert set(now(demo())) == set(FIXED_KEYS) | of_wanted
    assert len(of_wanted) == 6 * len(rows)
    for kind in KINDS_OF_JOB:
        assert {f"{kind}_next_start", f"any_{kind}_next_start"} <= set(FIXED_KEYS)


def test_the_caution_of_every_spray_is_in_it() -> None:
    # The demo has herbicides, which a label binds; where no spray is bound the plain line stands.
    assert now(demo())["spray_caution"] == LABEL_CAUTION
    assert now(bare())["spray_caution"] == BESIDE_A_SPRAY


@pytest.mark.parametrize(
    ("job", "label", "said"),
    [("herbicide", True, LABEL_CAUTION), ("feed", False, BESIDE_A_SPRAY), ("mow", False, None)],
)
def test_what_comes_next_is_named_with_its_caution(job, label, said) -> None:
    kind = "mowing" if job == "mow" else "spraying"
    ribbon = replace(ribbon_row(job, ()), has_label=label, kind=kind)
    report = bare(ribbons=(ribbon,))
    placed = with_week(report, work=[work_row(job, "07T09:00", "07T10:00", kind=kind)])
    assert now(placed)["next_caution"] == said


def test_a_stale_forecast_claims_nothing_that_it_does_not_know() -> None:
    flat = aged(20, replace(demo(), warnings=()))
    assert flat["stale"] is True
    assert str(flat["headline"]).startswith("Old forecast, 20 h: ")
    for key in ("wash_warning", "frost_warning", "frost", "rain_wash"):
        assert flat[key] is None, key
    states = {flat[key] for key in flat if key.endswith("_state")}
    assert states == {"unread", None}
    assert flat["spraying_reason"] == "Not known: the forecast is too old."


def test_a_warning_that_stands_is_kept_when_the_forecast_is_stale() -> None:
    flat = aged(12)
    assert flat["stale"] is True
    assert flat["wash_warning"] is True
    assert flat["rain_wash"] is True


def test_a_kind_that_is_not_read_is_unknown_and_not_absent() -> None:
    report = replace(demo(), warnings=(), not_read=(not_read_row("wash", "Wash is not read."),))
    flat = aged(1, report)
    assert flat["wash_warning"] is None
    assert flat["rain_wash"] is None
    assert flat["frost_warning"] is False


def test_the_age_is_told_from_the_fetch_where_the_issue_is_not() -> None:
    assert aged(2, with_forecast(demo(), issued_at=None, fetched_at=NOW))["forecast_age_h"] == 2.0
    issued = with_forecast(demo(), issued_at=NOW - timedelta(hours=3), fetched_at=NOW)
    assert aged(2, issued)["forecast_age_h"] == 5.0


def test_figures_are_rounded() -> None:
    figures = {key: value for key, value in aged(1).items() if isinstance(value, float)}
    assert figures
    for key, value in figures.items():
        assert len(f"{value!r}") <= 8, (key, value)
