"""The picture of the coming days: no two texts meet, time is true to scale, what is not known is not drawn."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from planner import page
from planner.page.axis import HOUR, Axis, local, nights, views
from planner.page.brief import over_bracket, three_lines
from planner.page.drawing import LabelLine, width_of
from planner.page.home import day_lines
from planner.page.job_lines import by_day, feet_words, job_lines, stretches_of
from planner.page.layout import clock_of
from planner.page.picture import Picture, gust_limit, narrow_picture, wide_picture
from planner.page.plots import gust_2m_kmh
from planner.page.rows import Hour
from planner.reports.as_of import as_of
from planner.reports.rows import Report
from planner.reports.workings import Workings
from tests.reports.made import with_week

LONDON = ZoneInfo("Europe/London")


def _pictures(report: Report, workings: Workings | None) -> list[Picture]:
    lines = job_lines(report)
    limit = gust_limit(report, workings)
    return [
        *(narrow_picture(report, lines, view, limit) for view in views(report)),
        wide_picture(report, lines, limit),
    ]


def _meeting(picture: Picture) -> list[tuple[str, str]]:
    found = []
    for at, one in enumerate(picture.texts):
        for other in picture.texts[at + 1 :]:
            if one.x0 < other.x1 and other.x0 < one.x1 and one.y0 < other.y1 and other.y0 < one.y1:
                found.append((one.text, other.text))
    return found


def _invented(report: Report, seed: int) -> Report:
    """The demo's work under another week of weather and other warnings."""
    random = Random(seed)
    count = report.hours.count

    def spells(low: float, high: float, share: float) -> tuple[float, ...]:
        values: list[float] = []
        while len(values) < count:
            length = random.randint(1, 12)
            values += [random.uniform(low, high) if random.random() < share else low] * length
        return tuple(values[:count])

    columns = report.hours.columns | {
        "rain_mm": spells(0, 12, 0.3),
        "rain_chance_pct": spells(0, 100, 0.4),
        "gust_10m_ms": spells(2, 30, 0.4),
        "wind_2m_kmh": spells(2, 60, 0.4),
        "grass_temp_c": spells(-12, 30, 0.8),
    }
    zone = ZoneInfo(report.site.timezone)
    warnings = []
    for number in range(random.randint(0, 6)):
        begins = report.as_of.astimezone(zone) + timedelta(hours=random.randint(-6, 150))
        warnings.append(
            replace(
                random.choice(report.warnings),
                id=f"w-{number}",
                begins=begins,
                ends=begins + timedelta(hours=random.randint(1, 60)),
                level=random.choice(("note", "care", "act")),
            )
        )
    made = replace(report, hours=replace(report.hours, columns=columns), warnings=tuple(warnings))
    return as_of(made, report.made_at + timedelta(hours=random.randint(0, 30)))


@pytest.mark.parametrize("seed", range(40))
def test_no_two_texts_meet_and_none_leaves_the_picture(report: Report, workings: Workings, seed: int) -> None:
    for picture in _pictures(_invented(report, seed), workings):
        assert _meeting(picture) == []
        for text in picture.texts:
            assert text.x0 >= -0.5, text
            assert text.x1 <= picture.width + 1, text
            assert text.y1 <= picture.height, text


def test_a_label_moves_aside_or_is_left_out() -> None:
    line = LabelLine(0, 100)
    assert line.place(50, 20) == 50
    moved = line.place(50, 20)
    assert moved is not None
    assert abs(moved - 50) >= 26
    other = line.place(50, 20)
    assert other is not None
    assert line.place(50, 20) is None


def test_widths_are_not_below_those_of_a_common_face() -> None:
    """Advance widths of a metric-compatible sans face, em: figure 0.556, M 0.833, e 0.556, i 0.222 (its AFM table,
    from memory)."""
    for text, em in (("0123456789", 5.56), ("Mow the green", 6.06), ("25 %", 2.28)):
        assert width_of(text, size=1.0) >= em * 0.99


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 5, 7), 24)]
)
def test_an_hour_is_as_wide_on_a_day_of_23_or_25_hours(day: date, hours: int) -> None:
    start, end = local(day, time(0), LONDON), local(day + timedelta(days=2), time(0), LONDON)
    axis = Axis(start=start, end=end, zone=LONDON, left=0.0, right=480.0, now=None)
    midnight = axis.midnights[0]
    assert axis.x(midnight) == pytest.approx(480 * hours / (hours + 24))
    for moment in (start, start.astimezone(UTC) + 3 * HOUR):
        width = axis.x(moment.astimezone(UTC) + HOUR) - axis.x(moment)
        assert width == pytest.approx(axis.px_an_hour)


def test_views_reach_from_now_over_two_nights_to_the_end_of_the_forecast(report: Report) -> None:
    found = views(report)
    assert [view.label for view in found] == ["Thu–Fri", "Sat–Sun", "Mon–Tue", "Wed–Thu"]
    assert (found[0].start.hour, found[0].end.hour, found[0].end.day) == (6, 9, 9)
    assert [view.start.hour for view in found[1:]] == [0, 0, 0]


def test_nights_are_the_sun_below_the_horizon(report: Report) -> None:
    zone = ZoneInfo(report.site.timezone)
    axis = Axis(
        start=report.as_of, end=report.as_of + timedelta(days=3), zone=zone, left=0.0, right=900.0, now=None
    )
    dark = nights(report, axis)
    altitude = report.hours.columns["sun_altitude_deg"]
    for number in range(72):
        middle = report.hours.first + timedelta(hours=number)
        is_dark = any(a <= middle < b for a, b in dark)
        value = altitude[number]
        # The hourly figure is that of the middle of the hour: an hour at the edge may be either.
        if value is not None and abs(value) > 10:
            assert is_dark is (value < 0), middle


def test_the_gust_stands_on_the_scale_of_its_limit(report: Report, workings: Workings) -> None:
    """10 m/s at 10 m is 36 km/h there and 26.9 at 2 m: factor 0.748, FAO-56 equation 47."""
    hour = Hour(time=report.as_of, figures={"gust_10m_ms": 10.0})
    assert gust_2m_kmh(hour) == pytest.approx(26.9, abs=0.05)
    assert gust_limit(report, workings) == 25.0
    no_spray = replace(report, wanted=tuple(row for row in report.wanted if row.kind != "spraying"))
    assert gust_limit(no_spray, workings) is None


def test_a_row_draws_the_state_of_each_hour(report: Report, workings: Workings) -> None:
    line = next(one for one in job_lines(report) if one.job == "foliar_feed")
    axis = Axis(
        start=report.as_of,
        end=report.as_of + timedelta(days=2),
        zone=ZoneInfo(report.site.timezone),
        left=0.0,
        right=480.0,
        now=report.as_of,
    )
    drawn = by_day(stretches_of(report, line.runs, axis), nights(report, axis))
    for run in line.runs:
        middle = run.start + (run.end - run.start) / 2
        if not axis.start <= middle < axis.end:
            continue
        found = [state for a, b, state in drawn if a <= middle < b]
        if run.state in ("steady", "narrow", "broken", "unread"):
            assert found == [run.state]
        elif run.need in ("light", "keeper_hours", "allowed_hours"):
            assert found == []


def test_a_stale_forecast_draws_dots_and_offers_no_hour(report: Report, workings: Workings) -> None:
    old = as_of(report, report.forecast.stale_at + timedelta(hours=1))
    assert old.forecast.stale
    for picture in _pictures(old, workings):
        for look in ("s-steady", "s-narrow", "s-broken", "order"):
            assert f'class="{look}"' not in picture.markup
        assert 'class="s-unread"' in picture.markup
    said = " ".join(line.says for line in three_lines(old))
    assert "forecast too old" in said
    assert not re.search(r"\d\d:\d\d", three_lines(old)[0].says)
    assert feet_words(old)[0].endswith("not known")


def test_nothing_wanted_names_no_job_as_next(report: Report, workings: Workings) -> None:
    bare = replace(with_week(report, work=(), left=(), planned=()), wanted=(), due=())
    lines = three_lines(bare)
    assert lines[0].says == "Nothing is wanted or due"
    assert lines[1].says in ("No spray is wanted", "No spray in this forecast") or "No spray" in lines[1].says
    assert job_lines(bare) == []
    assert "No job is wanted yet" in page.home(bare, workings).decode()


def test_three_lines_say_the_order_the_spray_and_the_danger(report: Report) -> None:
    lines = three_lines(report)
    assert [(line.mark, line.when, line.says) for line in lines] == [
        ("order", "08:00", "Roll, green"),
        ("barred", "Friday", "No spray. Next Sat 16:00"),
        ("care", "by 21:00", "Cover the seed, apron strip"),
    ]
    assert all(len(line.says) <= 30 for line in lines)


def test_brackets_say_what_the_hours_mean(report: Report) -> None:
    said = {row.kind: over_bracket(row, report) for row in report.warnings}
    assert said == {"wash": "cover seed by 21:00", "frost": "frost till Sat 08:00"}
    overdue = replace(report.warnings[0], kind="overdue")
    assert over_bracket(overdue, report) is None


def test_an_hour_that_is_touched_tells_what_limits_each_job(report: Report, workings: Workings) -> None:
    at = datetime(2026, 5, 8, 12, tzinfo=ZoneInfo(report.site.timezone))
    text = page.home(report, workings, at=at).decode()
    opened = text[text.index('id="hours"') : text.index('class="legend"')]
    assert "Tomorrow 12:00–18:00" in opened
    assert re.findall(r'<th scope="row">(\d\d):00', opened) == ["12", "13", "14", "15", "16", "17"]
    for line in job_lines(report):
        assert line.name in opened
    assert re.search(r"at most|at least|needs", opened)
    assert 'id="hours"' not in page.home(report, workings).decode()


def test_frost_that_lasts_is_hatched_below_the_zero_line(report: Report, workings: Workings) -> None:
    count = report.hours.count
    cold = replace(
        report, hours=replace(report.hours, columns=report.hours.columns | {"grass_temp_c": (-3.0,) * count})
    )
    picture = wide_picture(cold, job_lines(cold), None)
    assert "−3.0" in [text.text for text in picture.texts]
    warm = replace(
        report, hours=replace(report.hours, columns=report.hours.columns | {"grass_temp_c": (9.0,) * count})
    )
    assert "beyond" not in wide_picture(warm, job_lines(warm), None).markup


def test_without_rain_and_chance_the_plot_is_one_line(report: Report) -> None:
    count = report.hours.count
    dry = {"rain_mm": (0.0,) * count, "rain_chance_pct": (5.0,) * count}
    made = replace(report, hours=replace(report.hours, columns=report.hours.columns | dry))
    texts = [text.text for text in wide_picture(made, job_lines(made), None).texts]
    assert "none, chance under 20 %" in texts
    unknown = replace(
        made, hours=replace(made.hours, columns=made.hours.columns | {"rain_mm": (None,) * count})
    )
    texts = [text.text for text in wide_picture(unknown, job_lines(unknown), None).texts]
    assert "none, chance under 20 %" not in texts
    assert "not read" in texts


def test_a_forecast_that_ends_early_leaves_dots(report: Report) -> None:
    runs = tuple(run for run in job_lines(report)[0].runs if run.end <= report.as_of + timedelta(days=3))
    axis = Axis(
        start=report.as_of,
        end=report.as_of + timedelta(days=7),
        zone=ZoneInfo(report.site.timezone),
        left=0.0,
        right=700.0,
        now=report.as_of,
    )
    assert stretches_of(report, runs, axis)[-1][2] == "unread"


def test_hours_of_rain_that_are_not_read_are_dots_and_never_a_dry_spell(report: Report) -> None:
    count = report.hours.count
    for rain in ((0.0,) * 10 + (None,) * 30 + (0.0,) * (count - 40), (0.0,) * 52 + (None,) * (count - 52)):
        dry = {"rain_mm": rain, "rain_chance_pct": (5.0,) * count}
        made = replace(report, hours=replace(report.hours, columns=report.hours.columns | dry))
        for picture in (*_pictures(made, None)[:1], _pictures(made, None)[-1]):
            if rain[12] is None or picture.name == "wide":
                assert "none, chance under 20 %" not in [text.text for text in picture.texts]
                assert picture.markup.count('class="s-unread"') > 1


def test_a_day_with_hours_not_read_has_no_highest(report: Report) -> None:
    count, gust = report.hours.count, report.hours.columns["gust_10m_ms"]
    gappy = tuple(None if at % 24 < 20 else value for at, value in enumerate(gust))
    made = replace(report, hours=replace(report.hours, columns=report.hours.columns | {"gust_10m_ms": gappy}))
    clock = clock_of(made)
    assert count > 100
    assert [(line.gust_kmh, line.over_h) for line in day_lines(made, 25.0, clock)][1:5] == [(None, None)] * 4


def test_two_frosts_of_a_day_are_told_apart(report: Report) -> None:
    first = report.hours.first
    zone = ZoneInfo(report.site.timezone)
    hours = [(first + timedelta(hours=at)).astimezone(zone).hour for at in range(report.hours.count)]
    grass = tuple(-1.0 if hour < 3 or hour >= 22 else 8.0 for hour in hours)
    made = replace(
        report, hours=replace(report.hours, columns=report.hours.columns | {"grass_temp_c": grass})
    )
    assert day_lines(made, None, clock_of(made))[1].frost == "00:00–03:00, 22:00–24:00"


def test_the_next_spray_is_one_of_a_later_day(report: Report) -> None:
    """Work placed today is not what comes after tomorrow."""
    spray = next(row for row in report.week.work if row.kind == "spraying")
    begin = report.as_of.astimezone(ZoneInfo(report.site.timezone)) + timedelta(hours=3)
    today = replace(spray, start=begin, end=begin + timedelta(hours=1))
    made = with_week(report, work=[today, *report.week.work])
    said = three_lines(made)[1]
    assert said.when == "Friday"
    assert "Next Sat" in said.says


def test_the_second_of_two_hours_shown_alike_in_autumn_has_its_own_link() -> None:
    start = datetime(2026, 10, 25, 0, tzinfo=UTC)
    axis = Axis(start=start, end=start + timedelta(days=1), zone=LONDON, left=0.0, right=480.0, now=None)
    hours = [moment.astimezone(UTC) for moment in axis.every(6)]
    assert len(set(hours)) == len(hours)
    second = datetime(2026, 10, 25, 1, tzinfo=UTC).astimezone(LONDON)
    assert second.isoformat(timespec="minutes") == "2026-10-25T01:00+00:00"


def test_rows_of_other_days_name_theirs(report: Report, workings: Workings) -> None:
    later = _pictures(report, workings)[1]
    said = [text.text for text in later.texts]
    assert "Thu 08:00" in said
    assert "08:00" not in said
    assert "Feet on the green" in said


def test_pages_tell_figures_in_the_units_of_the_site(report: Report, workings: Workings) -> None:
    """0 °C is 32 °F, 25 km/h 15.5 mph, 21.6 mm 0.85 in (NIST SP 811, appendix B.8)."""
    customary = replace(report, site=replace(report.site, units="imperial"))
    drawn = [
        page.home(customary, workings),
        page.home(customary, workings, at=report.as_of),
        page.ground(customary),
        page.day(customary, "2026-05-09"),
        page.job(customary, workings, "foliar_feed"),
        page.week_sheet(customary),
    ]
    for number, made in enumerate(drawn):
        text = re.sub(r"<(style|script)>.*?</\1>|<[^>]*>", " ", made.decode(), flags=re.DOTALL)
        left = re.findall(r"[^.]{0,40}\d\s?(?:mm|°C|km/h|g/m²)(?!\w)|(?<!\w)(?:mm|°C|km/h)(?!\w)", text)
        assert left == [], (number, left)
    wide = [text.text for text in wide_picture(customary, job_lines(customary), 25.0).texts]
    for said in ("15.5", "32", "mph at 2 m", "in", "°F"):
        assert said in wide, said
    assert any(re.fullmatch(r"0\.\d\d in", text) for text in wide)
