"""Sentences in US customary units: each figure by the factors of NIST SP 811, its order and its side kept."""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.reports.retold import SENTENCES, for_people, retell
from planner.reports.shown_units import IMPERIAL, METRIC
from tests.reports.made import demo

#: Worked by hand with the printed factors of NIST SP 811 (2008), appendix B.8 (from memory): inch 25.4 mm, mile
#: 1.609344 km, t/°C = (t/°F - 32) / 1.8, US gallon 3.785412 L, fluid ounce 29.57353 mL, ounce 28.34952 g, pound
#: 0.4535924 kg, square foot 0.09290304 m2, foot 0.3048 m, psi 6.894757 kPa.
WORKED = [
    ("wind 13 of 15 km/h", "wind 8.1 of 9.3 mph"),
    (
        "air temperature 2 °C, needs 4.4 °C, best from 7 °C",
        "air temperature 36 °F, needs 40 °F, best from 45 °F",
    ),
    (
        "grass -4.0 to -1.5 °C, below 0 °C in 3 of 20 forecasts",
        "grass 24.8 to 29.3 °F, below 32 °F in 3 of 20 forecasts",
    ),
    ("22 mm, up to 10 mm in an hour (33%", "0.87 in, up to 0.39 inches in an hour (33%"),
    ("0.3 mm of rain", "0.012 in of rain"),
    ("cut at 3.8 mm", "cut at 0.15 in"),
    ("lasts 200 °C d; 120 so far", "lasts 360 °F d; 216 so far"),
    ("every 200 °C d; 120 so far", "every 360 °F d; 216 so far"),
    ("0.85 L of it", "28.7 fl oz of it"),
    ("18.1 L needed; 3.7 L over", "4.78 gal needed; 0.98 gal over"),
    ("0.5 to 3 L", "0.13 to 0.79 gal"),
    ("6.8 kg", "15 lb"),
    ("90 g", "3.17 oz"),
    # 25 L/ha = 2.5 mL/m2; on 92.90304 m2: 232.258 mL = 7.854 fl oz.
    ("at 25 L/ha", "at 7.85 fl oz/1,000 ft²"),
    # 480 L/ha on 92.90304 m2 are 4.45935 L = 1.178 gal.
    ("480 L/ha", "1.18 gal/1,000 ft²"),
    (
        "85 L/ha is below the 200 L/ha of the label",
        "0.21 gal/1,000 ft² is below the 0.49 gal/1,000 ft² of the label",
    ),
    # 10 kg/ha on 92.90304 m2 are 92.903 g = 3.277 oz; 20 g/m2 are 1858.06 g = 4.096 lb.
    ("at 10 kg/ha", "at 3.28 oz/1,000 ft²"),
    ("20.0 g/m²", "4.1 lb/1,000 ft²"),
    ("340 m² at 3 bar, 5 m off", "3660 ft² at 44 psi, 16.4 ft off"),
    # 1.2, 0.5, 1.7 and 1.8 g/m2 by 0.204816.
    (
        "1.2 given + 0.5 planned = 1.7 of 1.8 g/m²; 0.1 g/m² left",
        "0.25 given + 0.1 planned = 0.35 of 0.37 lb/1,000 ft²; 0.02 lb/1,000 ft² left",
    ),
]
#: Not figures with a unit, whatever they look like.
LEFT_ALONE = [
    "FAO-56 equation 47; ISO 10625 at 3 of 20",
    "roll, green 08:00–08:30, in 15 h",
    "foliar 10-0-4 (X), a third at 1.5 times",
    "dryness of the root zone 106 of 350 %",
    "41° of sun, 300 W/m2, 1013 hPa",
    "Delta T 8.20, best up to 8",
    "",
]
METRIC_UNIT = re.compile(r"\d (°C|mm|cm|m|m²|km/h|km|L|mL|kg|g|bar|L/ha|kg/ha|L/min|g/m²)(?![\w/²])")


@pytest.mark.parametrize(("metric", "customary"), WORKED)
def test_worked_by_hand(metric, customary):
    assert retell(metric, IMPERIAL) == customary
    assert retell(metric, METRIC) == metric


@pytest.mark.parametrize("text", LEFT_ALONE)
def test_what_has_no_unit_stays(text):
    assert retell(text, IMPERIAL) == text


@pytest.mark.parametrize(("metric", "customary"), WORKED)
def test_a_text_that_has_been_turned_stays(metric, customary):
    assert retell(customary, IMPERIAL) == customary


@given(
    st.decimals(min_value=-40, max_value=200, places=1),
    st.decimals(min_value=-40, max_value=200, places=1),
    st.sampled_from(["°C", "mm", "km/h", "g/m²", "kg"]),
    st.sampled_from(["it is {a} {unit}, needs {b} {unit}", "it is {a} of {b} {unit}"]),
)
def test_a_figure_stays_on_its_side_of_its_limit(a, b, unit, form):
    told = retell(form.format(a=a, b=b, unit=unit), IMPERIAL)
    numbers = [
        (float(number), sign)
        for number, sign in re.findall(r"(-?\d+(?:\.\d+)?)(?: of|(?: (oz|lb|°F|mph|in)))", told + " of")
    ]
    assert len(numbers) >= 2, told
    if len({sign for _, sign in numbers} - {""}) == 1:
        (first, _), (second, _) = numbers[:2]
        assert (first > second) == (a > b), told
        assert (first < second) == (a < b), told


def strings(value: object, key: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from strings(one, name)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from strings(one, key)


def test_no_metric_unit_is_left_in_a_whole_report():
    before, after = msgspec.to_builtins(demo()), msgspec.to_builtins(for_people(demo(), IMPERIAL))
    assert sum(bool(METRIC_UNIT.search(text)) for _, text in strings(before)) > 100
    assert {(key, text) for key, text in strings(after) if METRIC_UNIT.search(text)} == set()


def test_figures_names_and_keys_of_a_report_stay():
    def bare(value: object, key: str = "") -> object:
        if isinstance(value, dict):
            return {name: bare(one, name) for name, one in value.items()}
        if isinstance(value, list | tuple):
            return [bare(one, key) for one in value]
        return None if isinstance(value, str) and key in SENTENCES else value

    before, after = msgspec.to_builtins(demo()), msgspec.to_builtins(for_people(demo(), IMPERIAL))
    assert bare(after) == bare(before)
    assert after != before
    assert for_people(demo(), METRIC) is demo()
