"""Units that people read, against the printed factors of NIST SP 811 (2008), appendix B.8 (from memory)."""

from __future__ import annotations

import math

import pytest

from planner.reports import shown_units
from planner.reports.shown_units import IMPERIAL, METRIC, shown_unit

#: US customary unit, metric unit, metric figure of one customary unit as NIST SP 811 B.8 prints it.
PRINTED = [
    ("in", "mm", 2.54e-02 * 1000.0),
    ("in", "cm", 2.54),
    ("ft", "m", 3.048e-01),
    ("mi", "km", 1.609344),
    ("mph", "km/h", 1.609344),
    ("ft²", "m²", 9.290304e-02),
    ("gal", "L", 3.785412),
    ("fl oz", "mL", 2.957353e01),
    ("lb", "kg", 4.535924e-01),
    ("oz", "g", 2.834952e01),
    ("psi", "bar", 6.894757e00 / 100.0),
    ("gal/min", "L/min", 3.785412),
]


@pytest.mark.parametrize(("sign", "unit", "metric"), PRINTED)
def test_factors_are_those_of_nist(sign, unit, metric):
    shown = shown_unit(unit, IMPERIAL)
    assert shown.sign == sign
    assert shown.of(metric) == pytest.approx(1.0, rel=2e-7)
    assert shown.of(0.0) == 0.0


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (10.0, 50.0)]
)
def test_temperatures_meet_at_the_fixed_points(celsius, fahrenheit):
    assert shown_units.temperature(IMPERIAL).of(celsius) == pytest.approx(fahrenheit)


def test_warmth_over_a_base_has_no_offset():
    # NIST SP 811 B.8: an interval of 1 °F is 1/1.8 of an interval of 1 °C.
    assert shown_unit("°C d", IMPERIAL).text(200.0) == "360 °F d"


def test_rates_are_for_a_thousand_square_feet():
    # 1,000 ft2 are 92.90304 m2: by hand 1 gal on them is 3.785412 / 92.90304 * 1e4 L/ha.
    assert shown_unit("L/ha", IMPERIAL).of(407.4584) == pytest.approx(1.0, rel=1e-6)
    # 1 lb on them, by hand: 453.5924 / 92.90304 g/m2.
    assert shown_unit("g/m²", IMPERIAL).of(4.882427) == pytest.approx(1.0, rel=1e-6)


def test_metric_figures_stay_as_they_are():
    for unit in ("°C", "mm", "km/h", "L/ha", "hPa"):
        shown = shown_unit(unit, METRIC)
        assert (shown.sign, shown.of(12.34)) == (unit, 12.34)
    assert shown_unit("hPa", IMPERIAL).sign == "hPa"


def test_texts_round_and_say_what_is_not_known():
    assert shown_units.temperature(IMPERIAL).text(12.0) == "53.6 °F"
    assert shown_units.rain(IMPERIAL).text(25.4) == "1.00 in"
    assert shown_units.wind(METRIC).text(14.6) == "15 km/h"
    assert shown_units.temperature(METRIC).text(-0.01) == "0.0 °C"
    for unknown in (None, math.nan):
        assert shown_units.wind(IMPERIAL).text(unknown) == "not known"
        assert shown_units.wind(IMPERIAL).number(unknown) == "–"
