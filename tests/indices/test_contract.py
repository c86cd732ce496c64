"""What every index and every formula must keep to."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
from pathlib import Path
from types import FunctionType

import numpy as np
import pytest

from planner.indices import INDEX, INDICES
from planner.indices.grasses import GRASSES
from planner.indices.quantities import Index, Quantities
from planner.site import Edge, Sowing
from planner.weather import VARIABLE, Array, HourlyWeather
from tests.indices.made import NOW, START, quantities, site

ROOT = Path(__file__).parents[2]
PAGES = sorted((ROOT / "docs" / "indices").glob("*.md"))
KEYS = set(re.findall(r"^- `([a-z0-9-]+)`", (ROOT / "docs" / "references.md").read_text(), re.MULTILINE))
TOPICS = (
    "evapotranspiration",
    "frost",
    "grass_min",
    "growth",
    "humidity",
    "infiltration",
    "leaf_wetness",
    "rain_energy",
    "rain_wash",
    "runoff",
    "soil_temp",
    "soil_water",
    "spray_air",
    "sun",
    "surface_temp",
)
#: What is known without any weather at all, or stays on its cautious side when it is missing.
KNOWN_ANYWAY = {"station_pressure_hpa", "sun_altitude_deg", "near_night", "seed_exposure", "clock_hour"}
KNOWN_ANYWAY |= {"days_to_dormancy"}
HEADINGS = ("Parameters", "Returns", "Valid for", "Missing", "Differs", "Source", "Check")
#: Not formulas: look-ups, and an adapter.
PLAIN = {
    "soil_key",
    "soil_named",
    "wash_constants",
    "events_from_number",
    "ways",
    "off_frost",
    "freezing_members",
}


def _test_exists(identity: str) -> bool:
    file, _, name = identity.partition("::")
    path = ROOT / file
    if not path.exists():
        return False
    return any(
        isinstance(node, ast.FunctionDef) and node.name == name for node in ast.parse(path.read_text()).body
    )


def _formulas() -> list[FunctionType]:
    found = []
    for topic in TOPICS:
        module = importlib.import_module(f"planner.indices.{topic}")
        found += [
            item
            for name, item in vars(module).items()
            if inspect.isfunction(item)
            and item.__module__ == module.__name__
            and not name.startswith("_")
            and name not in PLAIN
        ]
    return found


def _random_weather(members: int = 1, seed: int = 11, hours: int = 24 * 6) -> HourlyWeather:
    rng = np.random.default_rng(seed)
    hour = np.arange(hours)
    wave = np.sin((hour - 9) / 24 * 2 * np.pi)
    shape = (members, hours)
    columns = {
        "air_temp_c": 14 + 8 * wave + rng.normal(0, 1.5, shape),
        "rel_humidity_pct": np.clip(75 - 20 * wave + rng.normal(0, 8, shape), 15, 100),
        "wind_10m_ms": np.abs(rng.normal(3, 2, shape)),
        "gust_10m_ms": np.abs(rng.normal(6, 3, shape)),
        "wind_dir_deg": rng.uniform(0, 360, shape),
        "rain_mm": np.where(rng.random(shape) < 0.1, rng.exponential(3, shape), 0.0),
        "cloud_pct": rng.uniform(0, 100, shape),
        "shortwave_wm2": np.maximum(600 * np.sin((hour - 6) / 24 * 2 * np.pi), 0)
        * rng.uniform(0.3, 1, shape),
        "pressure_hpa": rng.normal(1005, 8, shape),
        "air_temp_80m_c": 13 + 6 * wave + rng.normal(0, 1.5, shape),
        "snow_mm": np.where(rng.random(shape) < 0.02, rng.exponential(1, shape), 0.0),
    }
    return HourlyWeather.from_columns(epoch_s=int(START.timestamp()) + 3600 * hour, columns=columns)


def _sown(made: HourlyWeather) -> Quantities:
    place = site(slope_pct=6.0, edges=(Edge(name="pond", bearing_deg=90.0),))
    return quantities(made, place, sowings=(Sowing(surface="green", at=NOW, grass=place.surfaces[0].grass),))


def _columns_behind(index: Index) -> set[str]:
    behind: set[str] = set()
    for need in index.needs:
        behind |= {need} if need in VARIABLE else _columns_behind(INDEX[need])
    return behind


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_index_is_described(index: Index) -> None:
    assert index.source in KEYS, f"{index.source} is not in docs/references.md"
    assert _test_exists(index.check), index.check
    assert index.scope in {"sky", "surface"}
    assert index.bounds[0] < index.bounds[1]
    assert index.says
    assert index.valid
    assert all(need in VARIABLE or need in INDEX for need in index.needs)
    assert index.name not in VARIABLE or index.name in {"pressure_hpa"}


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_values_lie_within_what_the_row_says(index: Index) -> None:
    for seed in (1, 2):
        values = _sown(_random_weather(3, seed))[index.name]
        known = values[~np.isnan(values)]
        assert known.size
        assert known.min() >= index.bounds[0]
        assert known.max() <= index.bounds[1]


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_shape_is_members_by_hours_and_values_are_read_only(index: Index) -> None:
    values = _sown(_random_weather(3))[index.name]
    assert values.shape in {(1, 144), (3, 144)}
    assert values.dtype == np.float64
    with pytest.raises(ValueError, match="read-only"):
        values[0, 0] = 1.0


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_nothing_known_gives_nothing_known(index: Index) -> None:
    if index.name in KNOWN_ANYWAY:
        pytest.skip("known without weather")
    behind = _columns_behind(index)
    assert behind
    made = _random_weather()
    blank = {
        name: np.full((1, made.hours), np.nan) for name in made if name in behind or name == "dew_point_c"
    }
    columns = {name: made[name] for name in made} | blank
    values = _sown(HourlyWeather(first_hour=made.first_hour, hours=made.hours, columns=columns))[index.name]
    # What the root zone held at the start is taken, not computed.
    assert np.isnan(values[:, 1:]).all()


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_each_member_is_what_it_would_be_alone(index: Index) -> None:
    made = _random_weather(2)
    together = _sown(made)[index.name]
    if together.shape[0] == 1 or index.name in {"frost_chance_ground", "frost_chance_air", "rain_event"}:
        pytest.skip("the same for all, or told apart by there being members")
    columns = {name: made[name][1:] for name in made}
    alone = _sown(HourlyWeather(first_hour=made.first_hour, hours=made.hours, columns=columns))[index.name]
    np.testing.assert_allclose(together[1:], alone, rtol=1e-9, atol=1e-3)


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_columns_that_only_the_control_carries_count_for_all_members(index: Index) -> None:
    made = _random_weather(3, hours=24 * 4)
    # The dew point is made of air and humidity on entry.
    laid = {name: made[name] for name in made if name != "dew_point_c"}
    behind = sorted(_columns_behind(index) & set(laid))
    if index.name.startswith("frost_chance"):
        # Without a temperature of their own members carry the spread of a single forecast.
        behind.remove("air_temp_c")
    shared_sets = [{name} for name in behind] + [set(behind) - {name} for name in behind]
    for shared in shared_sets:
        lone = {name: column[:1] if name in shared else column for name, column in laid.items()}
        each = {name: np.repeat(column, 3 // column.shape[0], axis=0) for name, column in lone.items()}
        few, many = (
            _sown(HourlyWeather.from_columns(epoch_s=made.epoch_s, columns=columns))[index.name]
            for columns in (lone, each)
        )
        few, many = np.broadcast_arrays(few, many)
        np.testing.assert_allclose(few, many, rtol=1e-9, atol=1e-9, equal_nan=True, err_msg=str(shared))


def _told_on(page: Path) -> list[str]:
    """Rows that a page is about: named in backticks as the first cell of its table of rows."""
    return re.findall(r"^\| `([a-z0-9_]+)` \|", page.read_text(), re.MULTILINE)


@pytest.mark.parametrize("index", INDICES, ids=lambda index: index.name)
def test_every_row_is_told_on_exactly_one_page(index: Index) -> None:
    pages = [page.name for page in PAGES for name in _told_on(page) if name == index.name]
    assert len(pages) == 1, pages


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_pages_say_what_a_scientist_asks(page: Path) -> None:
    if page.stem == "README":
        assert {other.name for other in PAGES if other != page} <= set(
            re.findall(r"\]\(([a-z-]+\.md)\)", page.read_text())
        )
        return
    text = page.read_text()
    assert set(_told_on(page)) <= set(INDEX)
    headings = re.findall(r"^## (.+)$", text, re.MULTILINE)
    wanted = ["What it says", "Formula", "Source", "Valid for", "Outside it", "Judgement", "How far off"]
    assert [heading for heading in headings if heading in wanted] == wanted
    # Every key that stands as a source is in the references; every test that is named exists.
    body = text[text.index("## Source") : text.index("## Valid for")]
    keys = re.findall(r"`([a-z0-9-]+)`", body)
    assert keys
    assert set(keys) <= KEYS, set(keys) - KEYS
    tests = re.findall(r"`(tests/\S+?::\w+)`", text)
    assert tests
    for identity in tests:
        assert _test_exists(identity), identity
    for name in _told_on(page):
        assert f"| `{name}` | {INDEX[name].unit} | {INDEX[name].says} |" in text
        assert INDEX[name].source in keys, f"{name}: {INDEX[name].source} is not among the page's sources"


def test_page_of_seed_tells_the_days_of_every_grass() -> None:
    text = (ROOT / "docs" / "indices" / "soil-and-seed.md").read_text()
    for grass in {id(grass): grass for grass in GRASSES.values()}.values():
        gap = grass.emergence_optimum_c - grass.emergence_base_c
        slow = grass.emergence_days * gap / (12.0 - grass.emergence_base_c)
        line = f"| {grass.name} | {grass.emergence_days:g} | {grass.emergence_optimum_c:g} | "
        assert line + f"{grass.emergence_base_c:g} | {slow:.0f} |" in text


def test_names_are_told_once_and_wanted_rows_are_there() -> None:
    assert len(INDEX) == len(INDICES)
    assert {"delta_t_k", "surface_temp_c", "wash_risk", "storage_pct_fc", "depletion_raw", "leaf_wet"} <= set(
        INDEX
    )


@pytest.mark.parametrize("formula", _formulas(), ids=lambda formula: formula.__name__)
def test_formula_says_where_it_comes_from(formula: FunctionType) -> None:
    text = inspect.getdoc(formula) or ""
    found = [line.split("  ")[0] for line in text.splitlines() if line.startswith(HEADINGS)]
    assert found == list(HEADINGS)
    source = re.search(r"^Source\s+([a-z0-9-]+)", text, re.MULTILINE)
    assert source is not None
    assert source.group(1) in KEYS, source.group(1)
    check = re.search(r"^Check\s+(\S+)", text, re.MULTILINE)
    assert check is not None
    assert _test_exists(check.group(1)), check.group(1)


SOLVED = "surface_temp_c"
#: Formulas of one value at a time, with arguments inside and beyond their window.
ELEMENTWISE: list[tuple[str, str, tuple[list[float], ...]]] = [
    ("growth", "growth_potential", ([5.0, 20.0, np.nan, 99.0],)),
    ("growth", "growing_degree_days", ([5.0, 20.0, np.nan, 99.0],)),
    ("humidity", "wet_bulb_c", ([5.0, 20.0, np.nan, -3.0], [50.0, 80.0, 50.0, 90.0])),
    ("humidity", "vapour_pressure_deficit_kpa", ([5.0, 20.0, np.nan, 30.0], [50.0, 80.0, 50.0, 130.0])),
    ("surface_temp", "longwave_down_wm2", ([5.0, 20.0, np.nan], [50.0, 80.0, 50.0], [0.1, 0.9, 0.5])),
    ("frost", "frost_chance", ([-2.0, 2.0, np.nan], [1.5, 2.0, 1.5])),
    ("frost", "forecast_spread_k", ([0.0, 3.0, np.nan],)),
    ("grass_min", "log_wind", ([0.0, 3.0, np.nan],)),
    ("grass_min", "night_share", ([-5.0, 3.0, np.nan],)),
    ("grass_min", "grass_temp_c", ([1.0, 3.0, np.nan], [4.0, 4.0, 4.0], [1.0, 3.0, 2.0], [-5.0, 3.0, 20.0])),
    ("grass_min", "grass_spread_k", ([0.0, 3.0, np.nan],)),
    ("grass_min", "air_less_c", ([1.0, 3.0, np.nan], [-5.0, 3.0, 20.0])),
    (
        "grass_min",
        "daily_grass_min_c",
        ([1.0, 3.0, np.nan], [4.0, 5.0, 4.0], [1.0, 3.0, 2.0], [0.1, 0.9, 0.5]),
    ),
    (
        "grass_min",
        "daily_ground_frost_chance",
        ([1.0, 3.0, np.nan], [4.0, 5.0, 4.0], [1.0, 3.0, 2.0], [0.1, 0.9, 0.5]),
    ),
    ("rain_energy", "rain_energy_mj_ha_mm", ([0.0, 30.0, np.nan, -1.0],)),
    ("sun", "clear_sky_wm2", ([-5.0, 30.0, np.nan],)),
    ("sun", "daily_light_mol_m2", ([0.0, 20.0, np.nan],)),
    ("leaf_wetness", "dollar_spot_chance", ([20.0, 5.0, np.nan], [80.0, 80.0, 80.0])),
    ("leaf_wetness", "brown_patch_index", ([20.0, 5.0, np.nan], [80.0, 80.0, 80.0])),
    ("leaf_wetness", "pythium_risk", ([31.0, 25.0, np.nan], [15.0, 15.0, 15.0], [21.0, 21.0, 21.0])),
    ("leaf_wetness", "disease_pressure", ([0.1, 0.4, np.nan], [3.0, 7.0, 3.0], [0.0, 0.0, 0.0])),
    (
        "spray_air",
        "stability_class",
        ([1.0, 5.0, np.nan], [0.1, 0.9, 0.5], [40.0, -10.0, 5.0], [0.0, 1.0, 1.0]),
    ),
    ("leaf_wetness", "wet_by_humidity", ([95.0, 60.0, np.nan], [0.0, 1.0, 0.0])),
    ("growth", "established", ([0.5, 2.0, np.nan],)),
    ("growth", "days_to_emerge", ([10.0, 20.0, np.nan], [7.0] * 3, [20.0] * 3, [4.0] * 3)),
    ("growth", "monthly_nitrogen_g_m2", ([0.5, 1.0, np.nan, 2.0],)),
    ("growth", "daily_nitrogen_g_m2", ([0.5, 1.0, np.nan, 2.0],)),
    ("growth", "growth_in_light", ([0.5, 1.0, np.nan, 0.5], [20.0, 40.0, 20.0, np.nan], [30.0] * 4)),
    ("humidity", "saturation_vapour_pressure_hpa", ([5.0, 20.0, np.nan],)),
    ("humidity", "vapour_pressure_hpa", ([5.0, 20.0, np.nan], [50.0, 80.0, 50.0])),
    ("evapotranspiration", "saturation_kpa", ([15.0, 24.5, np.nan],)),
    ("evapotranspiration", "saturation_slope_kpa_k", ([15.0, 24.5, np.nan],)),
    ("evapotranspiration", "psychrometric_kpa_k", ([101.3, 81.8, np.nan],)),
    (
        "evapotranspiration",
        "hourly_et0_mm",
        (
            [38.0, 28.0, np.nan],
            [52.0, 90.0, 50.0],
            [3.3, 1.9, 2.0],
            [1.7, -0.1, 1],
            [0.2, -0.05, 0],
            [101.2] * 3,
        ),
    ),
    ("evapotranspiration", "hourly_net_mj_m2", ([38.0, 28.0, np.nan], [3.4, 3.4, 3], [2.4, 0, 1], [0.9] * 3)),
    ("evapotranspiration", "hargreaves_et0_mm", ([20.0, 10.0, np.nan], [26, 15, 20], [14, 5, 9], [40.0] * 3)),
    (
        "evapotranspiration",
        "net_longwave_mj_m2",
        ([25.1, 20.0, np.nan], [19.1, 10.0, 9.0], [2.1, 1.2, 1.0], [14.5, 9.0, 9.0], [18.8, 20.0, 20.0]),
    ),
    (
        "surface_temp",
        SOLVED,
        ([12.0, 12.0, np.nan], [95.0, 60.0, 90.0], [1, 2, 1], [0.1, 0.9, 0.5], [12, 9, 9]),
    ),
    (
        "leaf_wetness",
        "leaf_loss_mm_per_h",
        (
            [12.0, 20.0, np.nan],
            [95.0, 60.0, 90.0],
            [1.0, 2.0, 1.0],
            [0.0, 500.0, 0.0],
            [300.0, 330.0, 300.0],
            [12.0, 21.0, 12.0],
        ),
    ),
    ("runoff", "runoff_mm", ([5.0, 60.0, np.nan, -1.0], [86.0] * 4)),
    ("rain_wash", "sheet_shear_pa", ([5.0, 60.0, np.nan, -1.0], [10.0] * 4, [10.0] * 4)),
    ("rain_wash", "sheet_depth_mm", ([5.0, 60.0, np.nan, -1.0], [10.0] * 4, [10.0] * 4)),
    ("infiltration", "ponding_mm", ([5.0, 60.0, np.nan, 2.0], [3.4] * 4, [16.0] * 4)),
    (
        "infiltration",
        "sunk_in_mm",
        ([5.0, 0.0, np.nan, 2.0], [20.0, 3.0, 8.0, 60.0], [1.0] * 4, [3.4] * 4, [16.0] * 4),
    ),
    ("sun", "sun_position_deg", ([1.0e9, 1.5e9, np.nan], [51.0] * 3, [9.0] * 3)),
    ("sun", "cloudy_sky_wm2", ([30.0, 60.0, np.nan], [0.1, 0.9, 0.5])),
    ("soil_water", "readily_available_mm", ([18.0, 18.0, np.nan], [5.0, 3.0, 5.0], [0.4] * 3)),
    ("leaf_wetness", "irrigation_mm", ([-12.0, -3.0, np.nan], [7.2] * 3, [0.0, 1.0, 0.0])),
    ("spray_air", "drift_towards", ([270.0, 90.0, np.nan], [90.0] * 3, [10.0] * 3)),
    ("spray_air", "drop_life_s", ([8.0, 0.0, np.nan],)),
]


@pytest.mark.parametrize(
    ("topic", "name", "arguments"), ELEMENTWISE, ids=lambda value: value if isinstance(value, str) else ""
)
def test_one_value_is_what_it_is_in_an_array(
    topic: str, name: str, arguments: tuple[list[float], ...]
) -> None:
    formula = getattr(importlib.import_module(f"planner.indices.{topic}"), name)
    # What is the same for all values is a plain number of the formula, such as a curve number or a place.
    steady = [len(set(argument)) == 1 for argument in arguments]

    def call(shape: tuple[int, ...]) -> Array:
        pairs = zip(arguments, steady, strict=True)
        out = formula(*(a[0] if same else np.array(a).reshape(shape) for a, same in pairs))
        return np.asarray(out[0] if isinstance(out, tuple) else out)

    flat, tall = call((-1,)), call((-1, 1))
    assert flat.shape == (len(arguments[0]),)
    assert tall.shape == (len(arguments[0]), 1)
    np.testing.assert_array_equal(flat, tall[:, 0])
    for place, values in enumerate(zip(*arguments, strict=True)):
        one = formula(*values)
        one = one[0] if isinstance(one, tuple) else one
        # The balance stops its steps when all values of a call are near enough: to 0.01 K.
        np.testing.assert_allclose(float(one), flat[place], rtol=1e-12, atol=0.01 if name == SOLVED else 0.0)
    # The unknown is unknown, unless it is rain that wets the leaf anyway.
    assert np.isnan(flat[2])


#: Formulas that look along the hours or fit a log: their own tests hold them to gaps and bounds.
ALONG = {
    "hours_until",
    "firm_in_h",
    "rain_ahead_mm",
    "daily_et0_mm",
    "day_sky_mj_m2",
    "last_clearness",
    "keep_off",
    "own_correction",
    "pressure_at_hpa",
    "wet_leaf",
    "fit_full_growth",
    "rain_events",
    "seed_shares",
    "peak_excess_mm_h",
    "loose_seed_shear_pa",
    "seed_exposure",
    "slope_length_factor",
    "snow_melt_mm",
    "aged_mean_c",
    "daily_soil_temp_c",
    "soil_terms",
    "daily_wave",
    "hourly_soil_temp_c",
    "trailing_day_mean_c",
    "run_buckets",
    "carried_water_mm",
    "from_service_mm",
    "direction_spread_deg",
    "inversion_likely",
    "rise_and_set_s",
    "emergence_rate_per_day",
}


def test_every_public_formula_is_held_to_scalars_and_gaps() -> None:
    held = {name for _, name, _ in ELEMENTWISE} | ALONG
    assert {formula.__name__ for formula in _formulas()} == held
