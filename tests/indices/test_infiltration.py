"""Rain that sinks in: printed problems, an independent program, a plain small-step loop, and what must hold anyway."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.indices.infiltration import (
    INTAKES,
    Ground,
    peak_excess_mm_h,
    ponding_mm,
    sunk_in_mm,
)
from planner.indices.rain_wash import ways
from planner.indices.soil_water import SOILS
from planner.weather import Array
from tests.indices.published_tables import STORM_CM, SUNK_CM, TABLES


def test_printed_clay_ponds_after_an_hour() -> None:
    # A worked problem of a course in hydrology (Merced, 2008): 0.5 cm/h on a clay of 0.044 cm/h and 22.4 cm, room
    # 0.25: 0.54 cm has sunk in when it ponds, 1.08 h after the rain began.
    sunk = float(ponding_mm(5.0, 0.44, 224.0 * 0.25))
    assert sunk / 10.0 == pytest.approx(0.54, abs=0.005)
    assert sunk / 5.0 == pytest.approx(1.08, abs=0.005)


def test_printed_silt_loam_drinks_for_an_hour() -> None:
    # Chow, Maidment and Mays 1988, example 4.3.1, as the tests of PyTOPKAPI have it: 3.16721373 cm under standing
    # water; here it begins to stand after a moment of the hardest rain.
    assert sunk_in_mm(0.0, 1000.0, 1.0, 6.5, 167.0 * 0.7 * 0.486) / 10.0 == pytest.approx(3.1672, abs=5e-4)


def test_printed_storm_on_sandy_loam() -> None:
    # Chow, Maidment and Mays 1988, example 5.4.1: 11.37 cm of rain in three hours, of which 5.41 cm sink in.
    (storm,) = (table for table in TABLES if table.source == "chow-1988")
    assert sum(STORM_CM) == pytest.approx(11.37)
    assert SUNK_CM[-1] == pytest.approx(5.41, abs=0.005)
    assert storm.worst() < 1e-5


@pytest.mark.parametrize("soil", ["loam", "clay_loam", "sandy_loam"])
@pytest.mark.parametrize("rain", [6.0, 24.0, 60.0])
def test_small_steps_of_the_rate_come_to_the_same(soil: str, rain: float) -> None:
    # dF/dt is the lesser of the rain and K (1 + thirst / F), in 40,000 steps.
    k, thirst = INTAKES[soil].conductivity_mm_h, INTAKES[soil].suction_mm * 0.2
    sunk, step = 1e-9, 1.0 / 40_000
    for _ in range(40_000):
        sunk += min(rain, k * (1.0 + thirst / sunk)) * step
    assert float(sunk_in_mm(0.0, rain, 1.0, k, thirst)) == pytest.approx(sunk, abs=0.01)


def test_landlab_sinks_in_as_much() -> None:
    landlab = pytest.importorskip("landlab", reason="landlab is not installed: an oracle for whoever has it")
    from landlab.components import SoilInfiltrationGreenAmpt

    # Standing water on loam of 3.4 mm/h and 88.9 mm, room 0.2, in steps of a second.
    grid = landlab.RasterModelGrid((3, 3))
    depth = grid.add_zeros("surface_water__depth", at="node")
    sunk = grid.add_full("soil_water_infiltration__depth", 1e-6, at="node")
    soil = SoilInfiltrationGreenAmpt(
        grid,
        hydraulic_conductivity=3.4e-3 / 3600.0,
        soil_bulk_density=1590.0,
        rock_density=2650.0,
        initial_soil_moisture_content=0.2,
        wetting_front_capillary_pressure_head=0.0889,
    )
    for _ in range(3600):
        # It takes no more in a step than stands there, and adds what stands to the head: a thin film.
        depth[:] = 1e-4
        soil.run_one_step(1.0)
    ours = float(sunk_in_mm(0.001, 900.0, 1.0, 3.4, (88.9 + 0.1) * 0.2))
    assert float(sunk[4]) * 1000.0 == pytest.approx(ours, rel=0.01)


def test_soil_that_drinks_faster_than_it_rains_takes_it_all() -> None:
    assert ponding_mm(3.0, 3.4, 16.0) == np.inf
    assert sunk_in_mm(100.0, 3.0, 5.0, 3.4, 16.0) == pytest.approx(115.0)
    # Full ground takes its conductivity and no more.
    assert sunk_in_mm(0.0, 20.0, 1.0, 3.4, 0.0) == pytest.approx(3.4)
    assert sunk_in_mm(0.0, 20.0, 1.0, 0.0, 16.0) == 0.0


def test_what_is_not_known_or_cannot_be_is_not_known() -> None:
    assert np.isnan(sunk_in_mm([0.0, 0.0], [np.nan, -1.0], 1.0, 3.4, 16.0)).all()
    assert np.isnan(ponding_mm([np.nan, 2000.0], 3.4, 16.0)).all()


WAYS = ways()


def _ground(room: Array, soil: str = "loam", frozen: bool = False) -> Ground:
    each = np.ones(room.shape[0])
    return Ground(
        room=room,
        suction_mm=INTAKES[soil].suction_mm * each,
        conductivity_mm_h=INTAKES[soil].conductivity_mm_h * each,
        spreads_h=SOILS[soil].drains_h * each,
        frozen=np.full(room.shape, float(frozen)),
    )


def excess(rain: list[float], room: float | Array = 0.18, soil: str = "loam", frozen: bool = False) -> Array:
    """Hardest quarter hour of flow in every way and hour, (ways, hours)."""
    fell = np.array([[*rain, 0.0]])
    found = peak_excess_mm_h(
        fell,
        np.zeros(fell.shape),
        _ground(np.broadcast_to(room, fell.shape), soil, frozen),
        quarters=WAYS.quarters,
        beds=WAYS.beds,
        hollows_mm=0.5,
    )
    return np.asarray(found[:, 0])


#: Even rain, half-hour rain and a burst, each on a bed as its soil is tabled.
EVEN, HALF, BURST = 1, 4, 7


def test_an_even_hour_is_the_mildest_of_the_patterns() -> None:
    found = excess([12.0])[:, 0]
    assert 0.0 < found[EVEN] < found[HALF] < found[BURST]
    # A bed that rain has sealed sheds more, a loose one less.
    assert found[EVEN - 1] < found[EVEN] < found[EVEN + 1]


def test_even_hour_sheds_what_a_plain_loop_says() -> None:
    # 20 mm in an even hour on loam with room 0.18, second by second; 0.5 mm stays in hollows.
    k, thirst, sunk, stays, hardest = 3.4, 88.9 * 0.18, 1e-9, 0.0, 0.0
    for _quarter in range(4):
        ran = 0.0
        for _ in range(900):
            took = min(20.0, k * (1.0 + thirst / sunk)) / 3600.0
            sunk += took
            left = 20.0 / 3600.0 - took
            fills = min(left, 0.5 - stays)
            stays, ran = stays + fills, ran + left - fills
        hardest = max(hardest, 4.0 * ran)
    assert excess([20.0])[EVEN, 0] == pytest.approx(hardest, abs=0.05)


def test_second_storm_finds_wetter_ground() -> None:
    alone = excess([10.0])[BURST, 0]
    again = excess([10.0, *[0.0] * 9, 10.0])[BURST]
    assert again[0] == pytest.approx(alone)
    assert again[10] > alone + 1.0
    # A week later it has spread.
    assert excess([10.0, *[0.0] * 168, 10.0])[BURST, 169] == pytest.approx(alone, abs=0.05)


def test_frozen_ground_takes_nothing_and_sand_everything() -> None:
    # 4 mm, evenly: all but what the hollows hold.
    assert excess([4.0], frozen=True)[EVEN, 0] == pytest.approx(4.0)
    assert excess([4.0])[EVEN, 0] == 0.0
    assert excess([20.0], soil="sand").max() == 0.0


def test_gaps_in_the_record_are_dry_hours_that_change_nothing() -> None:
    hole = excess([10.0, np.nan, np.nan, 10.0])[BURST]
    np.testing.assert_allclose(hole[[0, 3]], excess([10.0, 10.0])[BURST, :2])


rains = st.lists(st.floats(0, 40), min_size=1, max_size=8)


@settings(deadline=None, max_examples=150)
@given(rains, st.integers(0, 7), st.floats(0, 15), st.floats(0, 0.3), st.floats(0, 0.1))
def test_flow_never_falls_when_more_rain_fell_or_the_ground_was_wetter(
    rain: list[float], hour: int, more: float, room: float, less: float
) -> None:
    base = excess(rain, room)
    assert (base >= -1e-9).all()
    assert (base <= np.array([*rain, 0.0]) * 2.28 + 1e-9).all()
    raised = list(rain)
    raised[min(hour, len(rain) - 1)] += more
    assert (excess(raised, room) >= base - 1e-6).all()
    assert (excess(rain, max(room - less, 0.0)) >= base - 1e-6).all()


def test_each_member_is_what_it_is_alone() -> None:
    rng = np.random.default_rng(5)
    rain = np.where(rng.random((6, 120)) < 0.2, rng.exponential(4.0, (6, 120)), 0.0)
    room = rng.uniform(0.0, 0.3, (6, 120))
    given_ = {"quarters": WAYS.quarters, "beds": WAYS.beds, "hollows_mm": 0.5}
    together = peak_excess_mm_h(rain, rain * 0.0, _ground(room), **given_)
    for row in range(6):
        alone = peak_excess_mm_h(
            rain[row : row + 1], np.zeros((1, 120)), _ground(room[row : row + 1]), **given_
        )
        np.testing.assert_allclose(alone[:, 0], together[:, row], atol=1e-9)
