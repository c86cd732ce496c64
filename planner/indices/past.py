"""Days before the hours of the weather, as they are kept from pass to pass."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One local day. NaN where not known."""

    air_c: float
    soil_c: float
    rain_mm: float
    hours: int
    """Hours of the day whose air temperature was known."""
    et0_mm: float = float("nan")
    """Reference evapotranspiration."""
    moisture_m3m3: float = float("nan")
    """Water in the soil as a service has it."""
