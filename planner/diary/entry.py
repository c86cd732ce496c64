"""What a diary entry is: the work done, and the form that it comes in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, StringConstraints
from typing_extensions import TypedDict

from planner.errors import Contradiction, InputError
from planner.terms import LONGEST_NAME, LONGEST_NOTE, PLAIN_TEXT, require_aware, time_schema

#: The kind of work that is of none of the rules' kinds, and what counts for no interval.
OTHER_KIND, COUNTS_AS_NOTHING = "other", "nothing"


#: How work turned out -> the words for it.
OUTCOMES: Mapping[str, str] = {
    "held": "held",
    "washed": "washed off or away",
    "scorched": "scorched",
    "drifted": "drifted",
    "no_effect": "had no effect",
}


class _MaterialAmount(TypedDict):
    name: str
    amount: float
    unit: str
    rate_per_ha: float


class MaterialRow(_MaterialAmount, total=False):
    """A material put out. What the label says is there only for a material of the file."""

    product: str | None
    registration: str | None
    needs_licence: bool
    reentry_h: float | None


class WeatherFigures(TypedDict, total=False):
    """Weather of the hours of the work; null where not known."""

    wind_2m_kmh: float | None
    wind_dir_deg: float | None
    air_temp_c: float | None
    rel_humidity_pct: float | None
    delta_t_k: float | None
    rain_mm: float | None


class ForecastFigures(WeatherFigures, total=False):
    """The same from a kept forecast, and which."""

    source: str
    hour: str
    provider: str
    fetched_at: str


class EntryDocument(TypedDict, total=False):
    """What not every job has. A key that is absent is not known."""

    counts_as: str
    materials: list[MaterialRow]
    area_m2: float
    water_l: float
    water_mm: float
    target: str
    cover_pct: float
    tackifier: bool
    grass: str
    cut_height_mm: float
    leaf_length_mm: float
    licence: str
    outcome: str
    outcome_note: str
    measured: WeatherFigures
    weather: ForecastFigures | None
    filled_in: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One job done, as the keeper writes it."""

    job: str
    kind: str
    surface: str
    started_at: datetime
    finished_at: datetime
    operator: str = ""
    notes: str = ""
    document: EntryDocument = field(default_factory=EntryDocument)

    def __post_init__(self) -> None:
        require_aware(self.started_at, "the start of a diary entry")
        require_aware(self.finished_at, "the end of a diary entry")
        if self.finished_at < self.started_at:
            raise Contradiction(
                f"A diary entry ends at {self.finished_at.isoformat()}, before it starts at "
                f"{self.started_at.isoformat()}. Correct one of the two."
            )
        for name in ("job", "kind", "surface"):
            if not getattr(self, name).strip():
                raise InputError(f"A diary entry has no {name}. Write one.")
        for name in ("job", "kind", "surface", "operator", "notes"):
            _require_storable(getattr(self, name), name)


def _require_storable(text: str, name: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise InputError(
            f"A diary entry's {name} holds a character that is none ({error.reason})."
        ) from error
    if "\0" in text:
        raise InputError(f"A diary entry's {name} holds the character with code 0. Leave it out.")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEntry:
    """One revision of a diary entry. Revision 1 is the first; the highest holds."""

    uuid: str
    revision: int
    entry: Entry
    written_at: datetime
    withdrawn: bool
    reason: str
    """Why it was changed or withdrawn; empty on the first revision."""


class EntryPart(BaseModel):
    """A part of the input; a name that is not known is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


#: A number is one: neither a yes or no, nor a text.
Number = Annotated[float, Strict()]
#: A name, and words as long as a keeper may want to write.
_Name = Annotated[str, StringConstraints(max_length=LONGEST_NAME, pattern=PLAIN_TEXT)]
_Named = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_NAME, pattern=PLAIN_TEXT)]
_Words = Annotated[str, StringConstraints(max_length=LONGEST_NOTE, pattern=PLAIN_TEXT)]
#: Of one piece of work; a tank holds a handful.
MOST_MATERIALS = 40
_WHEN = time_schema("today", "tomorrow", "yesterday", may_be_empty=True)


class MaterialInput(EntryPart):
    """A material put out. Without an amount, that of the file's rate on this area is written, and marked."""

    name: _Named
    amount: Number | None = Field(default=None, gt=0, le=100_000)
    unit: _Name = Field(default="", description="L, mL, kg or g; the material's own when left out.")


class Measured(EntryPart):
    """Weather measured at the work. What is left out is not known; the forecast's stands beside it."""

    wind_2m_kmh: Number | None = Field(default=None, ge=0, le=250)
    wind_dir_deg: Number | None = Field(default=None, ge=0, le=360)
    air_temp_c: Number | None = Field(default=None, ge=-60, le=55)
    rel_humidity_pct: Number | None = Field(default=None, ge=0, le=100)
    rain_mm: Number | None = Field(default=None, ge=0, le=200)


class DiaryInput(EntryPart):
    """One piece of work as it is handed in. Times are texts as people write them: 07:30, yesterday 07:30, ISO 8601."""

    job: _Named
    surface: _Named
    kind: _Name = Field(
        default="", description="Only for a job that the rules do not have: one of their kinds, or other."
    )
    counts_as: _Name = Field(
        default="",
        description="For such work: the job of the rules whose intervals it counts for, or nothing.",
    )
    started: str = Field(
        default="",
        max_length=LONGEST_NAME,
        description="Left out: the job's usual length before its end.",
        json_schema_extra=_WHEN,
    )
    finished: str = Field(
        default="",
        max_length=LONGEST_NAME,
        description="Left out: the job's usual length after its start, or now.",
        json_schema_extra=_WHEN,
    )
    materials: tuple[MaterialInput, ...] = Field(default=(), max_length=MOST_MATERIALS)
    water_l: Number | None = Field(default=None, ge=0, le=100_000)
    water_mm: Number | None = Field(
        default=None,
        gt=0,
        le=100,
        description="Water given to the surface by watering; else that of water_l.",
    )
    area_m2: Number | None = Field(
        default=None, gt=0, le=1_000_000, description="When not all of the surface."
    )
    operator: _Name | None = Field(default=None, description="Left out: the keeper of the site file.")
    licence: _Name | None = None
    notes: _Words = ""
    target: _Words = Field(default="", description="Weed, disease or purpose, for the spray record.")
    cover_pct: Number | None = Field(default=None, ge=0, le=100)
    tackifier: Annotated[bool, Strict()] | None = None
    grass: _Name = ""
    cut_height_mm: Number | None = Field(default=None, gt=0, le=200)
    leaf_length_mm: Number | None = Field(default=None, gt=0, le=500, description="Measured before the cut.")
    outcome: Literal["", "washed", "scorched", "held", "drifted", "no_effect"] = Field(
        default="", description="How it turned out, once that is seen."
    )
    outcome_note: _Words = ""
    measured: Measured = Measured()
