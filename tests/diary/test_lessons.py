"""How work turned out, and what that says about the limits marked as a guess."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from planner.actions import record_work
from planner.actions.lessons import SPEAKS_OF, Lesson, lessons
from planner.cli.commands import haysel
from planner.config.load import Config
from planner.diary.entry import OUTCOMES
from planner.forecast import RawForecast
from planner.indices import INDEX
from planner.rules.limit import Limit
from planner.store.store import Store
from planner.weather import VARIABLE
from tests.cli.test_diary import payload
from tests.made import DEMO, ROOT, config

NOW = datetime(2026, 4, 8, 12, tzinfo=UTC)
H = timedelta(hours=1)
#: Rain of 0.4 mm an hour before and after the work; see `payload`.
RAIN_AFTER = Limit(
    id="rain_after", label="rain in the 5 h after", unit="mm", quantity="rain_mm", when="after", hours=(0.0, 5.0),
    sum_up="total", best_to=3.0, hard_max=4.0,
)  # fmt: skip
WIND = Limit(id="wind", label="wind at 2 m", unit="km/h", quantity="wind_2m_kmh", best_to=20.0, hard_max=25.0)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    opened.keep_forecast("open-meteo", RawForecast(raw=payload(NOW - 96 * H, 192), url="", fetched_at=NOW))
    yield opened
    opened.close()


def rules(*needs: Limit) -> Config:
    found = config()
    return replace(found, jobs=(found.job("foliar_feed").model_copy(update={"needs": needs}),))


def spray(store: Store, found: Config, outcome: str, *, hours_ago: float = 24.0, **fields: Any) -> str:
    at = NOW - hours_ago * H
    row = {"job": "foliar_feed", "surface": "green", "outcome": outcome, **fields}
    row |= {"started": at.isoformat(), "finished": (at + H).isoformat()}
    return record_work.add(row, found, store, NOW).uuid


def only(store: Store, found: Config) -> Lesson:
    (row,) = lessons(found, store, NOW)["lessons"]
    return row


def test_a_spray_washed_off_inside_the_limit_speaks_against_it(store):
    # Five hours of 0.4 mm are 2 mm, by hand; comfort reaches to 3.
    found = rules(RAIN_AFTER, WIND)
    spray(store, found, "washed")
    spray(store, found, "washed", hours_ago=30.0)
    row = only(store, found)
    assert (row["need"], row["outcome"], row["against"], row["agrees"]) == ("rain_after", "washed", 2, 0)
    assert [one["figure"] for one in row["figures"]] == [pytest.approx(2.0), pytest.approx(2.0)]
    assert {one["where"] for one in row["figures"]} == {"comfort"}
    assert row["says"] == (
        "washed off or away 2 of 2 times though rain in the 5 h after allowed it (2 mm, 2 mm; at most 4 mm): "
        "the limit may be too wide."
    )


@pytest.mark.parametrize(
    ("best", "hard", "where", "against"),
    [(1.0, 3.0, "within", 1), (0.5, 1.0, "beyond", 0), (3.0, 4.0, "comfort", 1)],
)
def test_a_limit_that_would_have_barred_it_agrees(store, best, hard, where, against):
    found = rules(RAIN_AFTER.model_copy(update={"best_to": best, "hard_max": hard}))
    spray(store, found, "washed")
    row = only(store, found)
    assert ([one["where"] for one in row["figures"]], row["against"]) == ([where], against)


@pytest.mark.parametrize(
    ("best", "hard", "where", "against"),
    [(3.0, 4.0, "comfort", 0), (1.0, 3.0, "within", 1), (0.5, 1.0, "beyond", 1)],
)
def test_what_held_outside_comfort_speaks_for_a_wider_limit(store, best, hard, where, against):
    found = rules(RAIN_AFTER.model_copy(update={"best_to": best, "hard_max": hard}))
    spray(store, found, "held")
    row = only(store, found)
    assert ([one["where"] for one in row["figures"]], row["against"]) == ([where], against)
    assert ("too strict" in row["says"]) == bool(against)
    assert ("beyond the limit" in row["says"]) == (where == "beyond")


def test_an_outcome_speaks_only_of_what_could_have_done_it(store):
    found = rules(RAIN_AFTER, WIND)
    spray(store, found, "drifted")
    assert only(store, found)["need"] == "wind"


def test_no_effect_speaks_of_every_limit(store):
    found = rules(RAIN_AFTER, WIND)
    spray(store, found, "no_effect")
    assert {row["need"] for row in lessons(found, store, NOW)["lessons"]} == {"rain_after", "wind"}


def test_a_limit_that_was_read_somewhere_is_left_alone(store):
    found = rules(RAIN_AFTER.model_copy(update={"confidence": "A"}))
    spray(store, found, "washed")
    assert lessons(found, store, NOW)["lessons"] == []


def test_what_was_measured_comes_before_the_forecast(store):
    found = rules(WIND)
    spray(store, found, "drifted", measured={"wind_2m_kmh": 22.0})
    assert only(store, found)["figures"][0]["figure"] == pytest.approx(22.0, abs=0.01)


def test_what_cannot_be_read_is_said(store):
    found = rules(RAIN_AFTER)
    spray(store, found, "washed", hours_ago=24 * 40)
    spray(store, found, "washed", hours_ago=1.0)
    record_work.add(
        {"job": "seaweed", "kind": "other", "counts_as": "nothing", "surface": "green", "outcome": "held"},
        found, store, NOW,
    )  # fmt: skip
    said = lessons(found, store, NOW)
    assert any("no kept forecast holds its hours" in text for text in said["not_read"])
    assert any("the rules have no such job" in text for text in said["not_read"])
    assert said["outcomes"] == {"held": 1, "washed": 2, "scorched": 0, "drifted": 0, "no_effect": 0}
    assert len(said["lessons"]) == 1


def test_an_unknown_figure_is_named_and_not_taken_for_fair(store):
    dry = RAIN_AFTER.model_copy(update={"hours": (0.0, 120.0)})
    found = rules(dry)
    spray(store, found, "washed")
    said = lessons(found, store, NOW)
    assert said["lessons"] == []
    assert any("rain in the 5 h after is not known" in text for text in said["not_read"])


def test_an_outcome_is_a_revision_and_keeps_the_weather_of_its_day(store):
    found = config()
    uuid = spray(store, found, "")
    first = store.history(uuid)[-1]
    assert first.entry.document["weather"] is not None
    gone = Store.open("sqlite://")
    key = gone.add_entry(first.entry, NOW).uuid
    later = record_work.edit(
        key, {"outcome": "held", "outcome_note": "by eye"}, found, gone, NOW + 24 * 30 * H
    )
    assert (later.revision, later.entry.document["outcome"]) == (2, "held")
    assert later.entry.document["weather"] == first.entry.document["weather"], (
        "no forecast of it is kept any more"
    )
    kept = record_work.edit(key, {"notes": "wet"}, found, gone, NOW)
    assert kept.entry.document["outcome"] == "held"
    gone.close()


def test_every_quantity_spoken_of_is_one_that_rules_may_name():
    known = {*VARIABLE, *INDEX}
    assert {name for names in SPEAKS_OF.values() for name in names} <= known
    assert set(SPEAKS_OF) < set(OUTCOMES)


def test_by_command(tmp_path: Path):
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = str(tmp_path / DEMO.name)

    def ask(*words: str) -> str:
        found = CliRunner().invoke(haysel, ["diary", *words, "--config", site])
        assert found.exit_code == 0, found.exception or found.output
        return found.stdout

    assert "No entry has an outcome yet" in ask("lessons")
    uuid = ask("add", "foliar_feed", "green").split()[0]
    text = ask("outcome", uuid, "washed", "--note", "brown streaks")
    assert "outcome: washed" in text
    assert "brown streaks" in text
    said = ask("lessons")
    assert "washed 1" in said
    assert "no kept forecast holds its hours" in " ".join(said.split())
