"""Two sites in one store, and a site that moves: neither finds what belongs to the other."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from planner.diary.entry import Entry
from planner.forecast import RawForecast
from planner.site import Site
from planner.store.reading import newest_pass, read_part
from planner.store.records import KeptWarning, Outgoing
from planner.store.store import Store

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)
DALES, LEVELS = "54.21,-2.35,Europe/London", "51.10,-2.90,Europe/London"
FROST = KeptWarning(
    id="frost:green:2026-04-13",
    kind="frost",
    surface="green",
    state="raised",
    level="act",
    document={},
    first_at=NOON,
    changed_at=NOON,
)
MAIL = Outgoing(warning_id=FROST.id, change=1, output="mail", body={}, due_at=NOON)
ENTRY = Entry(job="mow", kind="mowing", surface="green", started_at=NOON, finished_at=NOON)
KEY = "a8098c1a-f86e-11da-bd1a-00112444be1e"


def test_a_place_is_coordinates_to_two_decimals_and_the_zone() -> None:
    site = Site(
        name="a", latitude_deg=54.2149, longitude_deg=-2.3512, elevation_m=200, timezone="Europe/London"
    )
    assert site.key == "main"
    assert site.place == DALES


def test_a_site_that_moved_finds_no_weather_and_no_pass_of_where_it_was(store: Store, url: str) -> None:
    before, after = store.bound_to("main", DALES), store.bound_to("main", LEVELS)
    before.keep_forecast("one", RawForecast(raw=b"{}", url="", fetched_at=NOON))
    before.keep_pass(NOON, {"report": b"1", "past-days": b"2"}, schema=1)
    assert after.last_forecast("one") is None
    assert after.forecasts("one", NOON, NOON + timedelta(days=1)) == ()
    assert (after.newest_pass(), after.part("report"), after.part("past-days")) == (None, None, None)
    assert read_part(url, "report", site="main", place=LEVELS, schema=1) is None
    assert newest_pass(url, "main", LEVELS) is None
    back = store.bound_to("main", DALES)
    assert back.last_forecast("one") is not None
    assert back.part("report") is not None
    assert read_part(url, "report", site="main", place=DALES, schema=1) == back.part("report")


def test_two_sites_share_nothing(store: Store) -> None:
    ours, theirs = store.bound_to("ours", DALES), store.bound_to("theirs", DALES)
    for one in (ours, theirs):
        one.keep_pass(NOON, {"report": one.site.encode()}, schema=1, warnings=[FROST], outbox=[MAIL])
        assert one.add_entry(ENTRY, NOON, KEY).revision == 1
        assert one.claim("pass", "12", 60, NOON)
    ours.withdraw_entry(KEY, NOON, reason="not done")
    ours.keep_pass(NOON, {}, schema=1, warnings=[])
    (taken,) = ours.take_due(NOON, 60)
    ours.mark_sent(taken.id, NOON)
    assert [entry.withdrawn for entry in theirs.history(KEY)] == [False]
    assert len(theirs.entries()) == 1
    part = theirs.part("report")
    assert part is not None
    assert part.body == b"theirs"
    theirs.mark_failed(taken.id, None, "not mine to mark")
    assert [(count.output, count.state) for count in theirs.outbox_counts()] == [("mail", "due")]
    assert [(count.output, count.state) for count in ours.outbox_counts()] == [("mail", "sent")]


def test_passes_of_one_site_do_not_push_out_those_of_another(store: Store) -> None:
    ours, theirs = store.bound_to("ours", DALES), store.bound_to("theirs", DALES)
    theirs.keep_pass(NOON, {"report": b"1"}, schema=1)
    for hour in range(5):
        ours.keep_pass(NOON + timedelta(hours=hour), {"report": b"2"}, schema=1, keep_last=2)
    assert theirs.part("report") is not None


def test_forecasts_of_every_place_are_thinned_the_last_of_each_day_stays(store: Store) -> None:
    old = NOON - timedelta(days=30)
    for place in (DALES, LEVELS):
        bound = store.bound_to("main", place)
        for hour in range(3):
            bound.keep_forecast("one", RawForecast(raw=b"{}", url="", fetched_at=old + timedelta(hours=hour)))
    store.bound_to("other", DALES).keep_forecast("one", RawForecast(raw=b"{}", url="", fetched_at=old))
    assert store.bound_to("main", DALES).prune_forecasts(NOON, 400) == 4
    for place in (DALES, LEVELS):
        kept = store.bound_to("main", place).forecasts("one", old, NOON)
        assert [one.fetched_at for one in kept] == [old + timedelta(hours=2)]
    assert store.bound_to("other", DALES).last_forecast("one") is not None
