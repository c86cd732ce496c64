"""The mix sheet of the invented green, and everything it must not be silent about."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from datetime import date

import pytest

from planner.errors import InputError, NotKnown
from planner.mix.kit import Material, Nozzle, Range
from planner.mix.plan import MixPlan, plan_mix
from tests.mix.kit import BARROW, DROP, FOLIAR, GREEN, STARTER


def sheet(typed_litres: float | None = None, **changes: object) -> MixPlan:
    return plan_mix("foliar feed", GREEN, FOLIAR, replace(BARROW, **changes), typed_litres)  # type: ignore[arg-type]


def test_the_check_sums_of_the_invented_green() -> None:
    # Computed: 0.034 ha x 480 L/ha = 16.3 L; 25 L/ha = 0.85 L; 3.05 kg N/ha = 0.305 g/m2.
    made = sheet()
    assert made.volume_lha == pytest.approx(480.0)
    assert made.mix_l == pytest.approx(16.32)
    assert made.says == "16.3 L needed."
    assert made.products[0].amount == pytest.approx(0.85)
    assert made.products[0].says == "850 mL foliar 10-0-4"
    assert made.nutrients_gm2["N"] == pytest.approx(0.305)
    assert made.nutrients_gm2["K"] == pytest.approx(0.122 * 0.830, abs=1e-4)
    assert [load.mix_l for load in made.loads] == [pytest.approx(16.32)]


def test_twenty_litres_typed_are_too_many() -> None:
    made = sheet(20.0)
    assert made.says == "16.3 L needed; 3.7 L over."
    assert made.over == pytest.approx(3.68)
    assert made.leftover is not None
    assert "Mix 16.3 L" in made.leftover
    assert "another 77 m²" in made.leftover


def test_a_second_pass_above_the_rate_is_refused() -> None:
    leftover = sheet(20.0).leftover
    assert leftover is not None
    assert "Not on a second pass over the same 340 m²" in leftover
    assert "30.6 L/ha of foliar 10-0-4 where the rate is 25 and the highest in the file 30" in leftover
    within = sheet(18.0).leftover
    assert within is not None
    assert "Not on a second pass" in within
    assert "27.6 L/ha of foliar 10-0-4 where the rate is 25." in within


def test_too_little_typed_tells_what_is_left_bare() -> None:
    made = sheet(12.0)
    assert made.says == "16.3 L needed; 4.3 L short."
    assert made.leftover is not None
    assert "covers 250 of 340 m²" in made.leftover


def test_what_fits_needs_no_word() -> None:
    made = sheet(16.5)
    assert made.says == "16.3 L needed; 16.5 L fits."
    assert made.leftover is None


def test_more_than_one_tank_shares_the_product_by_litres() -> None:
    made = sheet(tank_l=10.0)
    assert [load.mix_l for load in made.loads] == [10.0, pytest.approx(6.32)]
    amounts = [load.products[0].amount for load in made.loads]
    assert sum(amounts) == pytest.approx(0.85)
    assert amounts[0] == pytest.approx(25.0 * 10.0 / 480.0)


def test_a_small_last_tank_is_named() -> None:
    assert "2 tanks of 8.2 L" in " ".join(sheet(tank_l=15.0).advice)
    assert "tanks of" not in " ".join(sheet(tank_l=10.0).advice)


def test_a_caught_flow_is_used_before_the_nominal_one() -> None:
    made = sheet(measured_flow_lmin=1.7, measured_on=date(2026, 3, 28))
    assert made.volume_lha == pytest.approx(510.0)
    assert made.flow_from == "caught on 2026-03-28"
    assert made.advice == ()
    never = sheet()
    assert never.flow_from == "size 04 red when new; never caught on this sprayer"
    assert any("never caught" in one for one in never.advice)


@pytest.mark.parametrize(("flow", "says"), [(1.77, "11 % more than new ones"), (1.41, "12 % less than new")])
def test_worn_or_blocked_nozzles_are_named(flow: float, says: str) -> None:
    assert says in " ".join(sheet(measured_flow_lmin=flow).advice)


def test_an_old_calibration_is_named() -> None:
    caught = replace(BARROW, measured_flow_lmin=1.6, measured_on=date(2026, 3, 1))
    advice = plan_mix("foliar feed", GREEN, FOLIAR, caught, on=date(2026, 4, 12)).advice
    assert "42 days old" in " ".join(advice)
    assert plan_mix("foliar feed", GREEN, FOLIAR, caught, on=date(2026, 3, 20)).advice == ()
    undated = replace(caught, measured_on=None)
    assert "not known" in " ".join(plan_mix("feed", GREEN, FOLIAR, undated, on=date(2026, 4, 12)).advice)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"pressure_bar": 6.0}, "6 bar is above the 5 bar of nozzle 04 red"),
        ({"pressure_bar": 1.0}, "1 bar is below the 1.5 bar of nozzle 04 red"),
        ({"speed_kmh": 3.0}, "640 L/ha is above the 600 L/ha of the materials file for foliar 10-0-4"),
        ({"speed_kmh": 3.0}, "For 600 L/ha walk at 3.2 km/h or set 2.6 bar"),
        ({"speed_kmh": 10.0}, "192 L/ha is below the 200 L/ha"),
        ({"speed_kmh": 1.5}, "pressure alone would leave the nozzle's range (0.7 bar)"),
    ],
)
def test_what_leaves_the_range_of_nozzle_or_label_is_named(changes: dict[str, float], says: str) -> None:
    assert says in " ".join(sheet(**changes).advice)


def test_speed_and_pressure_of_the_label_are_held() -> None:
    strict = replace(FOLIAR, speed_kmh=Range(highest=3.5), pressure_bar=Range(highest=2.0))
    advice = " ".join(plan_mix("feed", GREEN, strict, BARROW).advice)
    assert "4 km/h is above the 3.5 km/h of the materials file" in advice
    assert "3 bar is above the 2 bar of the materials file" in advice


def test_products_go_in_in_the_order_of_their_forms() -> None:
    wetter = Material(name="wetter", unit="L", rate_per_ha=2.0, form="surfactant")
    granule = Material(
        name="granule", unit="kg", rate_per_ha=1.0, form="dispersible granule", needs_licence=True
    )
    made = plan_mix("mix", GREEN, [wetter, FOLIAR, granule], BARROW)
    named = [name for step in made.order for name in ("granule (", "foliar", "wetter (") if name in step]
    assert named == ["granule (", "foliar", "wetter ("]
    assert "Half fill" in made.order[0]
    text = " ".join(made.cautions)
    assert "jar" in text
    assert "licence" in text
    alone = " ".join(plan_mix("feed", GREEN, FOLIAR, BARROW).cautions)
    assert "jar" not in alone
    assert "licence" not in alone
    with pytest.raises(NotKnown, match="surfactant"):
        plan_mix("mix", GREEN, replace(FOLIAR, form="jelly"), BARROW)


def test_cautions_are_always_there_and_the_label_comes_first() -> None:
    own = replace(FOLIAR, cautions=("shake well",))
    cautions = plan_mix("feed", GREEN, own, BARROW).cautions
    assert cautions[0].startswith("The label and local law come first")
    assert cautions[-1] == "foliar 10-0-4: shake well"
    for word in ("Wear", "drain", "untreated strip", "Left-over"):
        assert any(word in caution for caution in cautions), word
    assert plan_mix("feed", GREEN, STARTER, DROP).cautions[0] == cautions[0]


def test_nutrients_without_a_density_are_not_known_and_not_zero() -> None:
    made = plan_mix("feed", GREEN, replace(FOLIAR, density_kgl=None), BARROW)
    assert made.nutrients_gm2 == {}
    assert made.nutrients_not_known == ("foliar 10-0-4: no density, so its nutrients are not known",)


def test_the_hopper_is_filled_like_the_tank() -> None:
    # Computed: 300 kg/ha = 30 g/m2; on 340 m2 10.2 kg; N 3.0 g/m2, P 5.4 x 0.436 = 2.36 g/m2.
    made = plan_mix("starter feed", GREEN, STARTER, replace(DROP, hopper_kg=8.0), typed_kg=12.0)
    assert made.rate_gm2 == pytest.approx(30.0)
    assert [load.mix_kg for load in made.loads] == [8.0, pytest.approx(2.2)]
    assert made.says == "10.20 kg needed; 1800 g over."
    assert made.nutrients_gm2["N"] == pytest.approx(3.0)
    assert made.nutrients_gm2["P"] == pytest.approx(2.357, abs=0.001)
    assert made.volume_lha is None
    assert made.leftover is not None
    assert "back into its bag" in made.leftover
    assert "never measured" in made.advice[0]


@pytest.mark.parametrize(("measured", "says"), [(36.0, "20 % more"), (24.0, "20 % less")])
def test_a_spreader_off_its_rate_is_named(measured: float, says: str) -> None:
    made = plan_mix("feed", GREEN, STARTER, replace(DROP, measured_gm2=measured))
    assert says in made.advice[0]
    assert plan_mix("feed", GREEN, STARTER, replace(DROP, measured_gm2=30.5)).advice == ()


def test_the_swath_of_a_boom_is_its_nozzles() -> None:
    assert BARROW.swath_m == pytest.approx(1.5)


def test_a_sheet_is_json() -> None:
    for made in (sheet(20.0), plan_mix("feed", GREEN, STARTER, DROP)):
        back = json.loads(json.dumps(asdict(made), allow_nan=False))
        assert back["says"] == made.says
        assert back["loads"][0]["products"][0]["unit"] in ("L", "kg")
        assert back["cautions"]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: plan_mix("feed", GREEN, STARTER, BARROW), "granular"),
        (lambda: plan_mix("feed", GREEN, FOLIAR, DROP), "measured in kg"),
        (lambda: plan_mix("feed", GREEN, [STARTER, STARTER], DROP), "one material"),
        (lambda: plan_mix("feed", GREEN, FOLIAR, BARROW, typed_kg=3.0), "give litres"),
        (lambda: plan_mix("feed", GREEN, STARTER, DROP, 3.0), "give kilograms"),
        (lambda: plan_mix("feed", GREEN, [], BARROW), "names no material"),
        (lambda: sheet(-3.0), "litres typed is -3"),
        (lambda: replace(FOLIAR, rate_per_ha=31.0), "above the label's highest of 30"),
        (lambda: replace(FOLIAR, unit="gal"), "allowed: L, kg"),
        (lambda: replace(FOLIAR, basis="v/v"), "allowed: w/w, w/v"),
        (lambda: replace(STARTER, basis="w/v"), "by weight"),
        (lambda: replace(FOLIAR, analysis_pct={"N": 110.0}), "0 to 100"),
        (lambda: replace(FOLIAR, density_kgl=0.0), "density"),
        (lambda: replace(BARROW, tank_l=0.0), "tank of barrow sprayer"),
        (lambda: replace(DROP, hopper_kg=-1.0), "hopper of drop spreader"),
        (lambda: Range(lowest=2.0, highest=1.0), "lower first"),
        (lambda: Nozzle.iso("07"), "04 red"),
    ],
)
def test_what_cannot_be_is_refused(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
