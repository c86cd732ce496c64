"""Readings: water given to a surface, and what was measured on it or on the spot. A record beside the diary.

The class is called `Observation`, since a `Reading` of the rules is the figure of a need.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Self, cast
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, model_validator
from typing_extensions import TypedDict

from planner.diary.entry import Number
from planner.errors import Contradiction
from planner.terms import LONGEST_NAME, LONGEST_REASON, PLAIN_TEXT, require_aware, time_schema

#: What is measured in the air where the work is to be, and stands in for the forecast's figure.
ON_THE_SPOT = ("wind_2m_kmh", "wind_dir_deg", "air_temp_c", "rel_humidity_pct")
#: What is true of one surface only.
_OF_A_SURFACE = ("water_mm", "soil_moisture_pct", "height_mm")


class Figures(BaseModel):
    """What can be read or given. A figure that is left out was not read; the ranges are what is credible."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    water_mm: Number | None = Field(
        default=None,
        gt=0,
        le=100,
        description="Water given by hose or system, mm (litres to a square metre).",
    )
    rain_mm: Number | None = Field(
        default=None,
        ge=0,
        le=500,
        description="Rain of a gauge since it was last read, mm. Kept for later use.",
    )
    soil_moisture_pct: Number | None = Field(
        default=None, ge=0, le=70, description="Water in the root zone by a probe, percent of the volume."
    )
    height_mm: Number | None = Field(default=None, gt=0, le=500, description="Height of the leaf, mm.")
    grass_min_c: Number | None = Field(
        default=None,
        ge=-60,
        le=40,
        description="Lowest of the night at the tips of the grass, C. Moves the chance of frost.",
    )
    wind_2m_kmh: Number | None = Field(
        default=None, ge=0, le=250, description="Wind at 2 m on the spot, km/h."
    )
    wind_dir_deg: Number | None = Field(
        default=None, ge=0, le=360, description="Where that wind comes from, degrees from north."
    )
    air_temp_c: Number | None = Field(default=None, ge=-60, le=55, description="Air on the spot, C.")
    rel_humidity_pct: Number | None = Field(
        default=None, ge=0, le=100, description="Humidity of the air on the spot, %."
    )


FIGURES: tuple[str, ...] = tuple(Figures.model_fields)


#: Name of a figure -> its words and its unit, in the order in which they are shown.
FIGURE_WORDS: Mapping[str, tuple[str, str]] = {
    "water_mm": ("water given", "mm"),
    "rain_mm": ("rain in the gauge", "mm"),
    "soil_moisture_pct": ("water in the root zone", "% of the volume"),
    "height_mm": ("leaf", "mm"),
    "grass_min_c": ("lowest at the grass", "°C"),
    "wind_2m_kmh": ("wind at 2 m", "km/h"),
    "wind_dir_deg": ("wind from", "degrees"),
    "air_temp_c": ("air", "°C"),
    "rel_humidity_pct": ("humidity", "%"),
}


def figures_in_words(figures: Mapping[str, object]) -> str:
    """The figures that are there, in words: `water given 4 mm`."""
    return ", ".join(
        f"{words} {value:g} {unit}"
        for name, (words, unit) in FIGURE_WORDS.items()
        if isinstance(value := figures.get(name), int | float)
    )


def figures_of(form: Figures) -> dict[str, float]:
    """The figures that were given, by name."""
    return {name: float(value) for name in FIGURES if (value := getattr(form, name)) is not None}


def lacks(surface: str, figures: Mapping[str, float]) -> str:
    """What a reading lacks, in words; empty where it lacks nothing."""
    if not figures:
        return f"a reading has no figure: give at least one of {', '.join(FIGURES)}"
    own = [name for name in _OF_A_SURFACE if name in figures]
    if own and not surface:
        return f"{' and '.join(own)} {'are' if own[1:] else 'is'} of one surface: name it"
    return ""


class ObservationInput(Figures):
    """A reading as it is handed in. With a job it asks for a verdict at that moment."""

    surface: str = Field(
        default="",
        max_length=LONGEST_NAME,
        pattern=PLAIN_TEXT,
        description="Left out: the whole site, for a gauge or the air.",
    )
    at: str = Field(
        default="",
        max_length=LONGEST_NAME,
        description="07:30, yesterday 07:30, ISO 8601. Left out: now.",
        json_schema_extra=time_schema("today", "tomorrow", "yesterday", may_be_empty=True),
    )
    note: str = Field(default="", max_length=LONGEST_REASON, pattern=PLAIN_TEXT)
    job: str = Field(
        default="",
        max_length=LONGEST_NAME,
        pattern=PLAIN_TEXT,
        description="A job to be judged with what was measured on the spot; it is not kept.",
    )

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        figures = figures_of(self)
        if fault := lacks(self.surface, figures):
            raise ValueError(fault)
        if self.job and not set(ON_THE_SPOT) & set(figures):
            raise ValueError(f"a job is judged with what is measured: give any of {', '.join(ON_THE_SPOT)}")
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One reading: at a moment, of a surface or the whole site. A figure that is absent was not read."""

    at: datetime
    figures: Mapping[str, float]
    """By the names of `Figures`, in the units of their names."""
    surface: str = ""
    """Empty for the whole site."""
    note: str = ""

    def __post_init__(self) -> None:
        require_aware(self.at, "the time of a reading")
        if fault := lacks(self.surface, self.figures):
            raise Contradiction(f"{fault[0].upper()}{fault[1:]}.")

    def figure(self, name: str) -> float | None:
        """The figure of that name; None when it was not read."""
        return self.figures.get(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredObservation:
    """A reading as the store has it, withdrawn or not."""

    uuid: str
    observation: Observation
    written_at: datetime
    withdrawn: bool
    reason: str
    """Why it was withdrawn; empty else."""


class ObservationRow(TypedDict):
    """One reading as JSON gives it; null for what was not read, and for the surface of the whole site's."""

    uuid: str
    surface: str | None
    at: datetime
    water_mm: float | None
    rain_mm: float | None
    soil_moisture_pct: float | None
    height_mm: float | None
    grass_min_c: float | None
    wind_2m_kmh: float | None
    wind_dir_deg: float | None
    air_temp_c: float | None
    rel_humidity_pct: float | None
    note: str
    written_at: datetime
    withdrawn: bool
    reason: str


def observation_row(stored: StoredObservation, zone: ZoneInfo) -> ObservationRow:
    """One reading, its time on the site's clock."""
    told = stored.observation
    fields = {
        "uuid": stored.uuid,
        "surface": told.surface or None,
        "at": told.at.astimezone(zone),
        **{name: told.figure(name) for name in FIGURES},
        "note": told.note,
        "written_at": stored.written_at.astimezone(UTC),
        "withdrawn": stored.withdrawn,
        "reason": stored.reason,
    }
    return cast(ObservationRow, fields)


def in_order(observations: Iterable[Observation]) -> tuple[Observation, ...]:
    """The earliest first."""
    return tuple(sorted(observations, key=lambda one: one.at))
