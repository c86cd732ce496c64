"""Figures of FAO-56, as cited by other programs' tests and manuals."""

from __future__ import annotations

from collections.abc import Callable

from planner.indices import evapotranspiration as et
from planner.indices import humidity
from planner.units import WIND_2M_PER_10M
from tests.indices.published_figure import Printed
from tests.indices.published_figure import printed_figure as _p


def _fao(quantity: str, inputs: str, printed: str, ours: Callable[[], object], place: str) -> Printed:
    return _p(quantity, inputs, printed, ours, "fao-56", place)


def _mean_es(high: float, low: float) -> float:
    return float(0.5 * (et.saturation_kpa(high) + et.saturation_kpa(low)))


def _ea(high: float, low: float, wettest: float, driest: float) -> float:
    """Vapour pressure from the day's humidities, FAO-56 equation 17."""
    return float(et.saturation_kpa(low) * wettest + et.saturation_kpa(high) * driest) / 200.0


def _sky(day: int, latitude: float) -> float:
    return float(et.day_sky_mj_m2(day, latitude)[0])


def _hours(day: int, latitude: float) -> float:
    return float(et.day_sky_mj_m2(day, latitude)[1])


def _sun(day: int, latitude: float, bright_h: float) -> float:
    """Sunlight from hours of bright sun, FAO-56 equation 35."""
    return (0.25 + 0.5 * bright_h / _hours(day, latitude)) * _sky(day, latitude)


_RIO, _BANGKOK, _UCCLE, _LYON = -22.9, 13 + 44 / 60, 50.80, 45.72
_UCCLE_DAY = (21.5, 12.3, _ea(21.5, 12.3, 84, 63), 2.078, 22.07, 187, _UCCLE, 100.0)

FAO_FIGURES: tuple[Printed, ...] = (
    _fao(
        "air pressure, kPa",
        "1800 m",
        "81.8",
        lambda: humidity.pressure_at_hpa(1800) / 10,
        "example 2 (pyet, PyETo)",
    ),
    _fao(
        "air pressure, kPa", "1200 m", "87.9", lambda: humidity.pressure_at_hpa(1200) / 10, "example 4 (pyet)"
    ),
    _p(
        "air pressure, kPa",
        "1462.4 m",
        "85.17",
        lambda: humidity.pressure_at_hpa(1462.4) / 10,
        "asce-2005",
        "table C-2 (pyet)",
    ),
    _fao(
        "psychrometric constant, kPa/K",
        "81.8 kPa",
        "0.054",
        lambda: et.psychrometric_kpa_k(81.8),
        "example 2 (pyet)",
    ),
    _p(
        "psychrometric constant, kPa/K",
        "85.17 kPa",
        "0.0566",
        lambda: et.psychrometric_kpa_k(85.17),
        "asce-2005",
        "table C-2 (pyet)",
    ),
    _fao(
        "psychrometric constant, kPa/K",
        "101.3 kPa",
        "0.0674",
        lambda: et.psychrometric_kpa_k(101.3),
        "example 17 (PyETo)",
    ),
    _fao(
        "psychrometric constant, kPa/K",
        "100 m",
        "0.0666",
        lambda: et.psychrometric_kpa_k(humidity.pressure_at_hpa(100.0) / 10),
        "example 18 (PyETo)",
    ),
    *(
        _fao(
            "saturation vapour pressure, kPa",
            f"{temp} C",
            printed,
            lambda t=temp: et.saturation_kpa(t),
            place,
        )  # type: ignore[misc]
        for temp, printed, place in (
            (24.5, "3.075", "example 3 (pyet)"),
            (15.0, "1.705", "example 3 (pyet)"),
            (19.5, "2.267", "example 4 (pyet)"),
            (18.0, "2.064", "example 5 (PyETo)"),
            (25.0, "3.168", "example 5 and table 2.3 (PyETo)"),
            (20.0, "2.338", "table 2.3 (a public test suite)"),
            (30.0, "4.243", "table 2.3 (a public test suite)"),
            (14.8, "1.68", "example 20, as vapour pressure at the dew point (PyETo)"),
        )
    ),
    _fao(
        "saturation vapour pressure, kPa", "15 C", "1.70535", lambda: et.saturation_kpa(15.0), "manual of NCL"
    ),
    _fao(
        "saturation vapour pressure, kPa",
        "24.5 C",
        "3.07465",
        lambda: et.saturation_kpa(24.5),
        "manual of NCL",
    ),
    _fao(
        "mean of saturation, kPa", "24.5 and 15 C", "2.39", lambda: _mean_es(24.5, 15.0), "example 3 (pyet)"
    ),
    _fao(
        "mean of saturation, kPa",
        "34.8 and 25.6 C",
        "4.42",
        lambda: _mean_es(34.8, 25.6),
        "example 17 (PyETo)",
    ),
    _fao(
        "mean of saturation, kPa",
        "21.5 and 12.3 C",
        "1.997",
        lambda: _mean_es(21.5, 12.3),
        "example 18 (PyETo)",
    ),
    _fao("vapour pressure, kPa", "25/18 C, 82/54 %", "1.70", lambda: _ea(25, 18, 82, 54), "example 5 (pyet)"),
    _fao(
        "vapour pressure, kPa",
        "25/18 C, mean 68 %",
        "1.78",
        lambda: 0.68 * _mean_es(25.0, 18.0),
        "example 5, equation 19 (pyet)",
    ),
    _fao(
        "vapour pressure, kPa",
        "34.8/25.6 C, 87/51 %",
        "2.85",
        lambda: _ea(34.8, 25.6, 87, 51),
        "example 17 (PyETo)",
    ),
    _fao(
        "vapour pressure, kPa",
        "21.5/12.3 C, 84/63 %",
        "1.409",
        lambda: _ea(21.5, 12.3, 84, 63),
        "example 18 (PyETo)",
    ),
    _fao("slope, kPa/K", "30.2 C", "0.246", lambda: et.saturation_slope_kpa_k(30.2), "example 17 (PyETo)"),
    _fao("slope, kPa/K", "16.9 C", "0.122", lambda: et.saturation_slope_kpa_k(16.9), "example 18 (PyETo)"),
    _fao(
        "sunlight above the air, MJ/m2", "day 246, 20 S", "32.2", lambda: _sky(246, -20.0), "example 8 (pyet)"
    ),
    _fao(
        "sunlight above the air, MJ/m2",
        "day 135, 22.9 S",
        "25.1",
        lambda: _sky(135, _RIO),
        "example 10 (PyETo)",
    ),
    _fao(
        "sunlight above the air, MJ/m2", "day 135, 22.9 S", "25.111", lambda: _sky(135, _RIO), "manual of NCL"
    ),
    _fao(
        "sunlight above the air, MJ/m2",
        "day 105, 13.73 N",
        "38.06",
        lambda: _sky(105, _BANGKOK),
        "example 17 (CSLSevap)",
    ),
    _fao(
        "sunlight above the air, MJ/m2",
        "day 187, 50.80 N",
        "41.09",
        lambda: _sky(187, _UCCLE),
        "example 18 (PyETo)",
    ),
    _fao(
        "sunlight above the air, MJ/m2",
        "day 196, 45.72 N",
        "40.6",
        lambda: _sky(196, _LYON),
        "example 20 (PyETo)",
    ),
    _fao(
        "sunlight above the air, mm",
        "day 196, 45.72 N",
        "16.55",
        lambda: 0.408 * _sky(196, _LYON),
        "manual of NCL",
    ),
    _fao("length of day, h", "day 246, 20 S", "11.7", lambda: _hours(246, -20.0), "example 9 (pyet)"),
    _fao("length of day, h", "day 135, 22.9 S", "10.9", lambda: _hours(135, _RIO), "example 10 (PyETo)"),
    _fao("length of day, h", "day 187, 50.80 N", "16.1", lambda: _hours(187, _UCCLE), "example 18 (pyet)"),
    _fao(
        "sunlight, MJ/m2",
        "day 135, 22.9 S, 7.1 h bright",
        "14.5",
        lambda: _sun(135, _RIO, 7.1),
        "example 10 (pyet)",
    ),
    _fao(
        "sunlight, MJ/m2",
        "day 105, 13.73 N, 8.5 h bright",
        "22.65",
        lambda: _sun(105, _BANGKOK, 8.5),
        "example 17 (CSLSevap)",
    ),
    _fao(
        "sunlight, MJ/m2",
        "day 187, 50.80 N, 9.25 h bright",
        "22.07",
        lambda: _sun(187, _UCCLE, 9.25),
        "example 18 (pyet)",
    ),
    _fao(
        "clear sunlight, MJ/m2",
        "day 135, 22.9 S, sea level",
        "18.833",
        lambda: 0.75 * _sky(135, _RIO),
        "manual of NCL",
    ),
    _fao(
        "clear sunlight, MJ/m2",
        "day 187, 50.80 N, 100 m",
        "30.90",
        lambda: (0.75 + 2e-5 * 100) * _sky(187, _UCCLE),
        "example 18 (PyETo)",
    ),
    _fao(
        "net longwave, MJ/m2",
        "25.1/19.1 C, 2.1 kPa, 14.5 of 18.8 MJ",
        "3.5",
        lambda: et.net_longwave_mj_m2(25.1, 19.1, 2.1, 14.5, 18.8),
        "example 11 (PyETo)",
    ),
    _fao(
        "net longwave, MJ/m2",
        "34.8/25.6 C, 2.85 kPa, 22.65 of 28.54 MJ",
        "3.11",
        lambda: et.net_longwave_mj_m2(34.8, 25.6, 2.85, 22.65, 28.54),
        "example 17 (CSLSevap)",
    ),
    _fao(
        "net longwave, MJ/m2",
        "21.5/12.3 C, 1.409 kPa, 22.07 of 30.90 MJ",
        "3.71",
        lambda: et.net_longwave_mj_m2(21.5, 12.3, 1.409, 22.07, 30.90),
        "example 18 (CSLSevap)",
    ),
    _fao(
        "net radiation, MJ/m2",
        "22.65 MJ less longwave of example 17",
        "14.33",
        lambda: 0.77 * 22.65 - et.net_longwave_mj_m2(34.8, 25.6, 2.85, 22.65, 28.54),
        "example 17 (PyETo)",
    ),
    _fao(
        "net radiation, MJ/m2",
        "22.07 MJ less longwave of example 18",
        "13.28",
        lambda: 0.77 * 22.07 - et.net_longwave_mj_m2(21.5, 12.3, 1.409, 22.07, 30.90),
        "example 18 (PyETo)",
    ),
    _fao("wind at 2 m, m/s", "3.2 m/s at 10 m", "2.4", lambda: 3.2 * WIND_2M_PER_10M, "example 14 (PyETo)"),
    _fao("wind at 2 m, m/s", "3.2 m/s at 10 m", "2.39", lambda: 3.2 * WIND_2M_PER_10M, "manual of NCL"),
    _fao(
        "wind at 2 m, m/s",
        "10 km/h at 10 m",
        "2.078",
        lambda: 10.0 / 3.6 * WIND_2M_PER_10M,
        "example 18 (pyet)",
    ),
    _fao(
        "wind at 2 m, m/s",
        "5 m/s at 10 m",
        "3.74",
        lambda: 5.0 * WIND_2M_PER_10M,
        "equation 47 (manual of sirad)",
    ),
    _fao(
        "reference evapotranspiration, mm/d",
        "Bangkok, April: 34.8/25.6 C, 2.85 kPa, 2 m/s, 22.65 MJ, G 0.14",
        "5.72",
        lambda: et.daily_et0_mm(34.8, 25.6, 2.85, 2.0, 22.65, 105, _BANGKOK, 2.0, ground_heat=0.14),
        "example 17 (PyETo)",
    ),
    _fao(
        "reference evapotranspiration, mm/d",
        "Uccle, 6 July: 21.5/12.3 C, 84/63 %, 2.078 m/s, 22.07 MJ",
        "3.9",
        lambda: et.daily_et0_mm(*_UCCLE_DAY),
        "example 18 (pyet)",
    ),
    _fao(
        "the same from temperature alone, mm/d",
        "Lyon, 15 July: 26.6/14.8 C",
        "5.0",
        lambda: et.hargreaves_et0_mm(20.7, 26.6, 14.8, _sky(196, _LYON)),
        "example 20 (manual of NCL)",
    ),
    _fao(
        "wind at 2 m, km/h", "3.2 m/s at 10 m", "8.62", lambda: 3.2 * WIND_2M_PER_10M * 3.6, "manual of NCL"
    ),
    _fao(
        "clear sunlight, MJ/m2",
        "day 105, 13.73 N, 2 m",
        "28.54",
        lambda: (0.75 + 2e-5 * 2) * _sky(105, _BANGKOK),
        "example 17 (CSLSevap)",
    ),
    _fao(
        "net radiation, MJ/m2",
        "14.5 MJ less longwave of example 11",
        "7.6",
        lambda: 0.77 * 14.5 - et.net_longwave_mj_m2(25.1, 19.1, 2.1, 14.5, 18.8),
        "example 12 (manual of NCL)",
    ),
)
