"""Every sentence that the shipped rules can come to, held to the rules of style: length, units, no raw names."""

from __future__ import annotations

import re
from functools import cache
from itertools import product

import pytest

from planner.config.load import load
from planner.margin import STATES
from planner.reports.amounts import figure, plain, scale_of, short, signed, told_apart
from planner.reports.sentences import LONGEST_SAYS, clause, held_against, sentence
from planner.rules.base import Need
from tests.made import DEMO

#: A unit without its sign, a raw name, a float's dust, an ISO or zero-led date.
BAD = {
    "bare C": re.compile(r"\d C\b"),
    "bare square metre": re.compile(r"\bm2\b"),
    "raw name": re.compile(r"\w_\w"),
    "dust of a sum": re.compile(r"\de-?\d"),
    "day with a nought": re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) 0\d(?!:)"),
    "two stops": re.compile(r"\.\.|\.,|: :|::"),
    "one day in the plural": re.compile(r"\b1 days\b"),
    "a word no longer used": re.compile(
        r"kinder|tightest|Holds|Barred|Not read|at the nearest|miss by least|no skin|air takes|not once|heed|crossways"
    ),
}


@cache
def needs() -> tuple[Need, ...]:
    """Every need of every shipped job, and those that an edge of a surface makes of one, each once."""
    shipped = load(DEMO)
    found: dict[str, Need] = {}
    for job in shipped.jobs:
        for surface in shipped.site.surfaces:
            for need in (*job.needs, *job.needs_on(surface)):
                found.setdefault(
                    f"{need.label}|{need.unit}|{need.low}|{need.high}|{need.hard_max}|{need.hard_min}", need
                )
    return tuple(found.values())


def values(need: Need) -> list[float]:
    """Inside comfort, on each limit, just beside it, beyond it, and nothing on record."""
    edges = [one for one in (need.hard_min, need.best_from, need.best_to, need.hard_max) if one is not None]
    found = [-50.0, -0.4, 0.0, 1.38778e-17, 1.0, 145.2, 29.4118, float("inf")]
    for edge in edges:
        found += [edge, edge - 1e-4, edge + 1e-4, edge - 0.3, edge * 0.5 + 0.2, edge * 2 + 1.0]
    if len(edges) > 1:
        found += [(low + high) / 2 for low, high in zip(edges, edges[1:], strict=False)]
    return found


def test_there_is_something_to_read():
    assert len(needs()) > 100
    assert {need.unit for need in needs()} >= {"C", "d", "h", "mm", "km/h", "%", "share", "0/1"}


@pytest.mark.parametrize("state", STATES)
def test_no_sentence_of_the_shipped_rules_breaks_the_style(state):
    wrong = set()
    for need, gone in product(
        needs(), ("", "the forecast ends Thu 14 May 12:00, before the hours that count")
    ):
        for value in values(need):
            says = sentence(state, need, value, from_time="Wed 13 May 02:00", gone=gone)
            for name, pattern in BAD.items():
                if pattern.search(says):
                    wrong.add((name, says))
            if len(says) > LONGEST_SAYS:
                wrong.add((len(says), says))
    assert wrong == set()


def test_what_has_to_change_is_told_in_the_same_style():
    wrong = set()
    for need in needs():
        for value in values(need):
            for says in (held_against(need, value), clause(need, value)):
                wrong |= {(name, says) for name, pattern in BAD.items() if pattern.search(says)}
    assert wrong == set()


def need(unit: str, **limits: float) -> Need:
    return Need(id="x", label="figure", unit=unit, **limits)


@pytest.mark.parametrize(
    ("unit", "limits", "value", "says"),
    [
        # Patterns of the house style; the figures are invented.
        ("km/h", {"best_to": 10, "hard_max": 15}, 9.0, "figure 9 of 15 km/h"),
        ("km/h", {"best_to": 10, "hard_max": 15}, 13.0, "figure 13 of 15 km/h, best up to 10 km/h"),
        ("km/h", {"best_to": 10, "hard_max": 15}, 17.0, "figure 17 km/h, at most 15 km/h"),
        ("C", {"hard_min": 4.4, "best_from": 8}, 2.0, "figure 2 °C, needs 4.4 °C"),
        ("C", {"hard_min": 4.4, "best_from": 8}, 6.0, "figure 6 °C, needs 4.4 °C, best from 8 °C"),
        ("K", {"best_to": 7, "hard_max": 8}, 7.7, "figure 7.7 of 8, best up to 7"),
        ("C d", {"hard_min": 150}, 120.0, "figure 120 °C d, needs 150 °C d"),
        ("MJ/m2", {"hard_min": 3}, 2.0, "figure 2 MJ/m², needs 3 MJ/m²"),
        ("share", {"best_to": 0.9, "hard_max": 1.2}, 1.0, "figure 100 of 120 %, best up to 90 %"),
        ("mm", {"hard_max": 0.1}, 1.38778e-17, "figure 0 of 0.1 mm"),
        ("mm", {"hard_max": 1.38778e-17}, 0.3, "figure 0.3 mm, at most 0 mm"),
        ("degrees", {"hard_min": 5}, 3.0, "figure 3°, needs 5°"),
        ("d", {"hard_min": 1, "best_from": 2}, 0.5, "figure 12 h, needs 24 h"),
    ],
)
def test_a_figure_and_its_limit_are_told_in_one_way(unit, limits, value, says):
    assert held_against(need(unit, **limits), value) == says


@pytest.mark.parametrize(("unit", "per_day"), [("h", 24.0), ("d", 1.0)])
@pytest.mark.parametrize(
    ("days", "least", "says"),
    [
        (6.05, 0.5, "figure 6 days, needs 0.5 days"),
        (1.0, 0.5, "figure 24 h, needs 12 h"),
        (1.0, 28.0, "figure 1 day, needs 28 days"),
    ],
)
def test_the_same_gap_is_told_in_the_same_unit_whatever_the_rules_write(unit, per_day, days, least, says):
    told = held_against(need(unit, hard_min=least * per_day), days * per_day)
    assert told.replace("6.1", "6") == says


def test_a_sentence_that_would_be_too_long_keeps_its_first_reason_and_its_figures():
    long = Need(
        id="x",
        label="rain in the 6 h after",
        unit="mm",
        hard_max=0.2,
        high="rain would take it off: the weed is still drinking it: and a second reason nobody has time to read",
    )
    says = sentence("broken", long, 3.0, from_time="Wed 13 May 02:00")
    assert says == (
        "Fine to start, fails from Wed 13 May 02:00: rain would take it off "
        "(rain in the 6 h after 3 mm, at most 0.2 mm)."
    )


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.005, "0.01"), (-0.001, "0"), (0.25, "0.25"), (19.96, "20"), (29.4118, "29"), (7.0, "7")],
)
def test_a_figure_is_as_short_as_it_can_be_read(value, text):
    assert short(value) == text


def test_signs_of_units():
    assert signed("degree days since the last (base 0 C)") == "degree days since the last (base 0 °C)"
    assert signed("200 C d on 340 m2") == "200 °C d on 340 m²"
    assert figure(0.0, "0/1") == "no"
    assert figure(float("inf"), "h") == "none on record"
    assert scale_of("h", [5.0, None]) == (1.0, "h")
    assert plain(29.4118) == "29.41"
    assert told_apart(14.9996, (15.0, None)) == "14.9996"
