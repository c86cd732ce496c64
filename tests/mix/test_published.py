"""Worked examples printed by others, each with its source; tolerances are those of the printed digits."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from planner.mix.formulas import (
    amount_for_area,
    flow_for_volume_lmin,
    loads_of,
    speed_for_volume_kmh,
    speed_kmh,
    volume_lha,
)
from planner.mix.kit import ISO_SIZES, Material, Nozzle
from planner.mix.nutrients import nutrients_gm2

ACRE_M2 = 4046.856
FOOT_M = 0.3048
MILE_KM = 1.609344
POUND_G = 453.59237
THOUSAND_FT2_M2 = 1000 * FOOT_M**2
US_GALLON_L = 3.785411784

# A grower's guide, table for 6 km/h and 2 bar (0.5 m apart, which the table implies): size, L/min, L/ha.
PRINTED_2_BAR = [
    ("01", 0.33, 65),
    ("015", 0.49, 98),
    ("02", 0.65, 131),
    ("03", 0.98, 196),
    ("04", 1.31, 261),
    ("05", 1.63, 327),
    ("06", 1.96, 392),
    ("08", 2.61, 523),
]


@pytest.mark.parametrize(("size", "flow_lmin", "printed_lha"), PRINTED_2_BAR)
def test_the_printed_table_of_volumes_follows_from_its_flows(
    size: str, flow_lmin: float, printed_lha: int
) -> None:
    # Whole L/ha are printed, from flows with more digits than the two shown.
    assert abs(round(volume_lha(flow_lmin, 6.0, 0.5)) - printed_lha) <= 1


@pytest.mark.parametrize(("size", "flow_lmin", "printed_lha"), PRINTED_2_BAR)
def test_the_nominal_flows_give_the_printed_table(size: str, flow_lmin: float, printed_lha: int) -> None:
    # Nominal flows are within 1 % of the printed ones, which have two decimals.
    assert Nozzle.iso(size).flow_lmin(2.0) == pytest.approx(flow_lmin, rel=0.01, abs=0.005)
    assert volume_lha(Nozzle.iso(size).flow_lmin(2.0), 6.0, 0.5) == pytest.approx(printed_lha, rel=0.011)


def test_the_row_of_size_025_is_a_misprint_in_that_table() -> None:
    # It prints 0.98 L/min (the flow of size 03) beside 164 L/ha, which belongs to 0.82 L/min.
    assert abs(volume_lha(0.98, 6.0, 0.5) - 164.0) > 30.0
    assert volume_lha(0.82, 6.0, 0.5) == pytest.approx(164.0, abs=1.0)
    assert Nozzle.iso("lilac").flow_lmin(2.0) == pytest.approx(0.82, abs=0.005)


def test_size_04_gives_four_tenths_of_a_us_gallon_a_minute_at_40_psi() -> None:
    # The same grower's guide. 40 psi = 2.758 bar. Nominal sizes are rounded: 1 % apart.
    flow = Nozzle.iso("04").flow_lmin(40 * 0.0689476)
    assert flow / US_GALLON_L == pytest.approx(0.40, rel=0.015)


def test_every_colour_has_one_size() -> None:
    # ISO 10625 names and colours, as published.
    assert [(one.size, one.colour) for one in ISO_SIZES] == [
        ("01", "orange"),
        ("015", "green"),
        ("02", "yellow"),
        ("025", "lilac"),
        ("03", "blue"),
        ("04", "red"),
        ("05", "brown"),
        ("06", "grey"),
        ("08", "white"),
    ]


def test_alberta_nozzle_02_at_275_kpa_and_9_kmh_gives_40_litres_an_acre() -> None:
    # Alberta Agriculture, Agdex 606-1, sprayer calibration example: 40 L/acre; flow 0.71 to 0.79 L/min.
    flow = Nozzle.iso("02").flow_lmin(2.75)
    assert 0.71 <= flow <= 0.79
    # Spacing not printed there; 0.5 m is the common boom.
    assert volume_lha(flow, 9.0, 0.5) * ACRE_M2 / 10_000 == pytest.approx(40.0, rel=0.05)
    assert amount_for_area(40.0 * 10_000 / ACRE_M2, 30 * ACRE_M2) == pytest.approx(1200.0)
    assert loads_of(1200.0, 2000.0) == (1200.0,)


@pytest.mark.parametrize(
    ("minutes", "seconds", "kmh"), [(6, 48, 7), (6, 0, 8), (5, 20, 9), (4, 48, 10), (4, 0, 12)]
)
def test_alberta_travel_times_over_800_m(minutes: int, seconds: int, kmh: int) -> None:
    # Alberta Agriculture, Agdex 606-1, ground speed chart; whole km/h printed.
    assert speed_kmh(800.0, minutes * 60 + seconds) == pytest.approx(kmh, abs=0.1)


@pytest.mark.parametrize(("seconds", "mph"), [(45, 3), (27, 5)])
def test_oklahoma_speed_over_200_feet(seconds: int, mph: int) -> None:
    # Oklahoma State University, turf fact sheet on sprayer calibration; whole mph printed.
    assert speed_kmh(200 * FOOT_M, seconds) / MILE_KM == pytest.approx(mph, abs=0.06)


def test_oklahoma_volume_from_flow_speed_and_spacing() -> None:
    # Same sheet: 101 oz/min = 0.79 gal/min, 3 mph, 18 in. It prints 88 gal/acre; its own formula gives 86.9.
    volume = volume_lha(0.79 * US_GALLON_L, 3 * MILE_KM, 18 * 0.0254)
    per_acre = volume * ACRE_M2 / 10_000 / US_GALLON_L
    assert per_acre == pytest.approx(5940 * 0.79 / (3 * 18), rel=1e-3)
    assert per_acre == pytest.approx(88.0, rel=0.015)


def test_western_australia_hectares_a_tank() -> None:
    # Western Australia, department of agriculture, herbicide application: 1000 L at 50 L/ha sprays 20 ha.
    assert amount_for_area(50.0, 20 * 10_000) == pytest.approx(1000.0)
    # And its rule: mL/min x 60 / (cm x km/h), for any figures.
    assert volume_lha(0.8, 10.0, 0.5) == pytest.approx(800 * 60 / (50 * 10))


def test_canada_knapsack_speed_for_200_litres_a_hectare() -> None:
    # A Canadian training course for knapsacks: 0.75 m x 33.3 m in 50 s (2.4 km/h) puts on 200 L/ha.
    assert speed_kmh(33.3, 50.0) == pytest.approx(2.4, abs=0.005)
    flow = flow_for_volume_lmin(200.0, 2.4, 0.75)
    assert flow * 50 / 60 * 10_000 / 25 == pytest.approx(200.0, rel=0.002)
    assert speed_for_volume_kmh(200.0, flow, 0.75) == pytest.approx(2.4)


def test_queensland_boom_output() -> None:
    # A Queensland chemical accreditation course: 24 L/min in all, 200 m/min, 12 m wide = 100 L/ha.
    assert volume_lha(24.0, 12.0, 12.0) == pytest.approx(100.0)


def test_louisiana_pounds_of_a_granular_feed() -> None:
    # LSU AgCenter: 20-0-0 for 1 lb N on 1,000 square feet takes 5 lb.
    feed = Material(name="20-0-0", unit="kg", rate_per_ha=1.0, form="granular", analysis_pct={"N": 20.0})
    rate = 5.0 * POUND_G / 1000 / THOUSAND_FT2_M2 * 10_000
    assert amount_for_area(rate, THOUSAND_FT2_M2) * 1000 / POUND_G == pytest.approx(5.0)
    (nitrogen,) = nutrients_gm2(replace(feed, rate_per_ha=rate)).values()
    assert nitrogen * THOUSAND_FT2_M2 / POUND_G == pytest.approx(1.0)


def test_nutrients_of_a_liquid_feed_by_weight() -> None:
    # A turf scientist's worked answer (M. Woods, 19 March 2015): 10.68 lb a gallon, 0.4 % Mn and 4 % N by
    # weight, 6 fl oz on 1,000 square feet: 0.002 lb Mn and 0.02 lb N.
    feed = Material(
        name="liquid feed",
        unit="L",
        rate_per_ha=6 / 128 * US_GALLON_L / THOUSAND_FT2_M2 * 10_000,
        density_kgl=10.68 * POUND_G / 1000 / US_GALLON_L,
        analysis_pct={"N": 4.0, "Mn": 0.4},
    )
    pounds = {name: grams * THOUSAND_FT2_M2 / POUND_G for name, grams in nutrients_gm2(feed).items()}
    assert pounds["Mn"] == pytest.approx(0.002, abs=0.0005)
    assert pounds["N"] == pytest.approx(0.02, abs=0.0005)


def test_flow_goes_with_the_square_root_of_pressure() -> None:
    # The printed 2-bar flows times sqrt(3/2) are the nominal 3-bar flows within 1 %.
    for size, flow_lmin, _ in PRINTED_2_BAR:
        assert flow_lmin * math.sqrt(1.5) == pytest.approx(Nozzle.iso(size).flow_3bar_lmin, rel=0.0105)
