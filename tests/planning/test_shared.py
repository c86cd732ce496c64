"""A sprayer or keeper of several sites: never in two places, there in time, and where it is needed most."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, product
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.planning.apart import Away
from planner.planning.asks import Ask, Frame, Start, starts_of
from planner.planning.plan import Judged, make_plan
from planner.planning.shared import Elsewhere, Missed, Shared
from planner.planning.solver import choose
from planner.planning.week import WeekOrder, order
from tests.made import config, ground, weather

ZONE = ZoneInfo("Europe/London")
START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(days=3, hours=5)
MOVE_H = 1.0
#: Two mornings are all there is, so that both sites want the same hours.
MORNINGS = [(START + timedelta(days=day, hours=5), START + timedelta(days=day, hours=12)) for day in (4, 6)]
GONE = (
    Away(start=NOW, end=MORNINGS[0][0]),
    Away(start=MORNINGS[0][1], end=MORNINGS[1][0]),
    Away(start=MORNINGS[1][1], end=NOW + timedelta(days=9)),
)
SPRAYS = [("foliar_feed", "green"), ("growth_regulator", "green"), ("systemic_herbicide", "east bank")]


@pytest.fixture(scope="module")
def judged() -> dict[tuple[str, str], Judged]:
    made = config()
    laid = ground(weather(START, 24 * 12), now=NOW)
    return {(j.job.name, j.surface.name): j for j in make_plan(laid, made.jobs, now=NOW).judged}


def plan(
    judged: dict[tuple[str, str], Judged],
    asks: dict[tuple[str, str], float],
    elsewhere: tuple[Elsewhere, ...] = (),
    away: tuple[Away, ...] = GONE,
    is_keeper: bool = False,
    hours_a_day: float = 8.0,
) -> WeekOrder:
    """A week of what is asked for once, each with its worth."""
    wanted = [Ask(judged=judged[pair], worth=worth) for pair, worth in asks.items()]
    shared = Shared(name="barrow", is_keeper=is_keeper, move_h=MOVE_H, elsewhere=elsewhere)
    return order(wanted, now=NOW, zone=ZONE, shared=shared, away=away, hours_a_day=hours_a_day)


def seen(site: str, week: WeekOrder, is_keeper: bool = False) -> Elsewhere:
    """What the other sites see of a week."""
    spans = tuple(
        (p.start.timestamp() / 3600, p.end.timestamp() / 3600)
        for p in week.placed
        if is_keeper or p.ask.sprays
    )
    return Elsewhere(site=site, taken=spans, missed=week.missed)


def spans(week: WeekOrder) -> list[tuple[datetime, datetime]]:
    return [(p.start, p.end) for p in week.placed if p.ask.sprays]


def held_apart(one: WeekOrder, other: WeekOrder) -> bool:
    way = timedelta(hours=MOVE_H)
    return all(a[1] + way <= b[0] or b[1] + way <= a[0] for a in spans(one) for b in spans(other))


def test_alone_it_is_planned_as_one_that_nobody_shares(judged: dict[tuple[str, str], Judged]) -> None:
    asks = dict.fromkeys(SPRAYS, 1.0) | {("mow_green", "green"): 1.0}
    alone = order([Ask(judged=judged[pair]) for pair in asks], now=NOW, zone=ZONE, away=GONE)
    shared = plan(judged, asks)
    assert [(p.judged.job.name, p.start) for p in alone.placed] == [
        (p.judged.job.name, p.start) for p in shared.placed
    ]
    assert alone.missed == shared.missed == ()


@pytest.mark.parametrize("first", ["north", "south"])
def test_two_sites_never_have_it_at_once_and_come_to_rest(
    judged: dict[tuple[str, str], Judged], first: str
) -> None:
    """Whichever is planned first, after every single pass."""
    asks = {"north": {SPRAYS[0]: 1.0, SPRAYS[1]: 1.2}, "south": {SPRAYS[0]: 1.1, SPRAYS[2]: 2.0}}
    names = ("north", "south") if first == "north" else ("south", "north")
    weeks: dict[str, WeekOrder] = {}
    history = []
    for _ in range(4):
        for name in names:
            others = tuple(seen(other, week) for other, week in weeks.items() if other != name)
            weeks[name] = plan(judged, asks[name], others)
            assert len(weeks) < 2 or held_apart(weeks["north"], weeks["south"])
        history.append([spans(weeks[name]) for name in names])
    assert history[-1] == history[-2]
    # No hour was lost to the sharing: there is room for all four on these mornings.
    assert sum(len(spans(week)) for week in weeks.values()) == 4


def test_the_only_hour_goes_where_it_is_worth_more(judged: dict[tuple[str, str], Judged]) -> None:
    """North stands in it first and could stand elsewhere; south could not, and needs it."""
    north = plan(judged, {SPRAYS[0]: 1.0})
    ((begin, end),) = spans(north)
    hours = (begin.timestamp() / 3600, end.timestamp() / 3600)
    only = (Missed(at_h=hours[0], end_h=hours[1], value=3.0),)
    again = plan(judged, {SPRAYS[0]: 1.0}, (Elsewhere(site="south", taken=(), missed=only),))
    assert len(spans(again)) == 1
    assert again.left == ()
    way = timedelta(hours=MOVE_H)
    assert spans(again)[0][0] >= end + way or spans(again)[0][1] + way <= begin


def test_where_there_is_but_one_hour_the_site_that_loses_it_says_where_the_sprayer_is(
    judged: dict[tuple[str, str], Judged],
) -> None:
    north = plan(judged, {SPRAYS[0]: 1.0})
    ((begin, _),) = spans(north)
    gone = (
        Away(start=NOW, end=begin),
        Away(start=begin + timedelta(minutes=75), end=NOW + timedelta(days=9)),
    )
    hours = (begin.timestamp() / 3600, begin.timestamp() / 3600 + 1.0)
    taken = Elsewhere(site="South", taken=(hours,))
    wanted = Elsewhere(site="South", taken=(), missed=(Missed(at_h=hours[0], end_h=hours[1], value=9.0),))
    for other in (taken, wanted):
        week = plan(judged, {SPRAYS[0]: 1.0}, (other,), away=gone)
        assert spans(week) == []
        assert [left.wanted_at for left in week.left] == [("South",)]
    # A cut needs no sprayer.
    cut = plan(judged, {("mow_green", "green"): 1.0}, (taken,))
    assert len(cut.placed) == 1


def test_a_site_without_an_hour_gets_the_one_that_the_other_can_do_without(
    judged: dict[tuple[str, str], Judged],
) -> None:
    """North, planned first, stands in the only hour that south has; it moves, and south has it in the next pass."""
    north = plan(judged, {SPRAYS[0]: 1.0})
    ((begin, end),) = spans(north)
    only = (Away(start=NOW, end=begin), Away(start=end, end=NOW + timedelta(days=9)))
    south = plan(judged, {SPRAYS[0]: 1.0}, (seen("north", north),), away=only)
    assert spans(south) == []
    assert [(one.at_h, one.end_h) for one in south.missed] == [
        (begin.timestamp() / 3600, end.timestamp() / 3600)
    ]
    north = plan(judged, {SPRAYS[0]: 1.0}, (seen("south", south),))
    south = plan(judged, {SPRAYS[0]: 1.0}, (seen("north", north),), away=only)
    assert spans(south) == [(begin, end)]
    assert len(spans(north)) == 1
    assert held_apart(north, south)


def test_no_hour_is_left_to_work_that_would_not_have_it(judged: dict[tuple[str, str], Judged]) -> None:
    """South has no hours of work left on these days, so that it misses none of north's."""
    north = plan(judged, {SPRAYS[0]: 1.0})
    south = plan(judged, {SPRAYS[0]: 5.0}, (seen("north", north),), hours_a_day=0.1)
    assert spans(south) == []
    assert south.missed == ()


def test_a_start_just_before_it_goes_and_as_soon_as_it_comes(judged: dict[tuple[str, str], Judged]) -> None:
    """Half hours between full ones are tried where the other site leaves no more than that."""
    length = timedelta(hours=judged[SPRAYS[0]].job.duration_h)
    begin = MORNINGS[0][0] + timedelta(hours=2)
    gap = (begin - timedelta(hours=1, minutes=20), begin + timedelta(minutes=20) + length)
    only = (Away(start=NOW, end=gap[0]), Away(start=gap[1], end=NOW + timedelta(days=9)))
    north = (
        (gap[0] - timedelta(hours=3)).timestamp() / 3600,
        (begin - timedelta(minutes=40)).timestamp() / 3600,
    )
    south = plan(judged, {SPRAYS[0]: 1.0}, (Elsewhere(site="north", taken=(north,)),), away=only)
    assert spans(south) == [(begin + timedelta(minutes=20), begin + timedelta(minutes=20) + length)]


def test_one_keeper_of_two_sites_has_one_pair_of_hands_for_all_work(
    judged: dict[tuple[str, str], Judged],
) -> None:
    asks = {("mow_green", "green"): 1.0, SPRAYS[0]: 1.0, ("rolling", "green"): 1.0}
    north = plan(judged, asks, is_keeper=True)
    south = plan(judged, asks, (seen("north", north, is_keeper=True),), is_keeper=True)
    assert north.placed
    assert south.placed
    way = timedelta(hours=MOVE_H)
    for one in north.placed:
        for other in south.placed:
            assert one.end + way <= other.start or other.end + way <= one.start
    # What a day holds is held by both together.
    busy = seen("north", north, is_keeper=True)
    full = sum(
        end - at
        for at, end in busy.taken
        if START.timestamp() / 3600 + 96 <= at < START.timestamp() / 3600 + 120
    )
    tight = plan(judged, asks, (busy,), is_keeper=True, hours_a_day=full + 0.1)
    assert not [one for one in tight.placed if one.start.date() == MORNINGS[0][0].date()]


def test_twenty_sites_on_one_sprayer_are_planned_as_fast_as_two(
    judged: dict[tuple[str, str], Judged],
) -> None:
    """Counted as limits that the solver is handed, which a clock cannot move."""
    some = tuple(
        Elsewhere(
            site=f"{number}",
            taken=(),
            missed=(Missed(at_h=MORNINGS[0][0].timestamp() / 3600 + number / 4, end_h=1e9, value=0.1),),
        )
        for number in range(20)
    )
    week = plan(judged, dict.fromkeys(SPRAYS, 1.0), some)
    assert week.method == "the best order there is"
    shared = Shared(name="barrow", is_keeper=False, move_h=MOVE_H, elsewhere=some)
    asks = [Ask(judged=judged[pair]) for pair in SPRAYS]
    starts = starts_of(asks, Frame(now=NOW, zone=ZONE, days=7))
    assert len(shared.rows(asks, starts)) <= len(starts) + 20


_HOUR = st.tuples(st.integers(0, 12), st.integers(1, 3), st.integers(1, 40))


@settings(max_examples=60, deadline=None)
@given(
    mine=st.lists(_HOUR, min_size=1, max_size=4),
    theirs=st.lists(st.lists(_HOUR, min_size=1, max_size=3), min_size=1, max_size=2),
    move_h=st.sampled_from([0.0, 1.0, 2.5]),
)
def test_the_limits_are_those_of_one_sprayer_and_the_best_is_found(
    mine: list[tuple[int, int, int]], theirs: list[list[tuple[int, int, int]]], move_h: float
) -> None:
    """Against every possible choice, tried one by one. Each start is an ask of its own."""
    made = config()
    spray = next(job for job in made.jobs if job.kind == "spraying")

    class Sprays:
        job = spray

    asks = [Ask(judged=Sprays()) for _ in mine]  # type: ignore[arg-type]
    starts = [
        Start((number,), float(at), 0, float(length), START.date(), float(value))
        for number, (at, length, value) in enumerate(mine)
    ]
    elsewhere = tuple(
        Elsewhere(
            site=f"{rank}",
            taken=(),
            missed=tuple(
                Missed(at_h=float(at), end_h=float(at + length), value=float(value))
                for at, length, value in some
            ),
        )
        for rank, some in enumerate(theirs)
    )
    shared = Shared(name="barrow", is_keeper=False, move_h=move_h, elsewhere=elsewhere)
    items = [("", s.at_h, s.end_h, s.value) for s in starts]
    items += [(other.site, one.at_h, one.end_h, one.value) for other in elsewhere for one in other.missed]

    def fits(taken: tuple[bool, ...]) -> bool:
        for (a_site, a, a_end, _), (b_site, b, b_end, _) in combinations(
            [one for one, is_in in zip(items, taken, strict=True) if is_in], 2
        ):
            if (a_site, b_site) == ("", ""):
                # Our own are held apart by the rows of the week, which are not tried here.
                continue
            way = 0.0 if a_site == b_site else move_h
            if a < b_end + way and b < a_end + way:
                return False
        return True

    best = max(
        sum(one[3] for one, is_in in zip(items, taken, strict=True) if is_in)
        for taken in product((False, True), repeat=len(items))
        if fits(taken)
    )
    found = choose([start.value for start in starts] + shared.values, shared.rows(asks, starts))
    assert found is not None
    assert fits(tuple(index in found.items for index in range(len(items))))
    assert sum(items[index][3] for index in found.items) == pytest.approx(best)


def test_the_way_counts_on_both_sides() -> None:
    shared = Shared(
        name="barrow",
        is_keeper=False,
        move_h=1.0,
        elsewhere=(Elsewhere(site="South", taken=((10.0, 12.0),)),),
    )
    assert shared.sites_at(8.0, 9.0) == ()
    assert shared.sites_at(8.0, 9.5) == ("South",)
    assert shared.sites_at(13.0, 14.0) == ()
    assert shared.sites_at(12.5, 14.0) == ("South",)
    assert replace(shared, move_h=0.0).sites_at(12.0, 13.0) == ()
