"""What a keeper tells of a piece of work, by command or over HTTP, before it becomes a diary entry."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """A part of what is told; a name that is not known is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class MaterialTold(Part):
    """A material put out. Without an amount, that of the file's rate on this area is written, and marked."""

    name: str = Field(min_length=1)
    amount: float | None = Field(default=None, gt=0, le=100_000)
    unit: str = Field(default="", description="L, mL, kg or g; the material's own when left out.")


class Measured(Part):
    """Weather measured on the spot. What is left out is not known; the forecast's stands beside it."""

    wind_2m_kmh: float | None = Field(default=None, ge=0, le=250)
    wind_dir_deg: float | None = Field(default=None, ge=0, le=360)
    air_temp_c: float | None = Field(default=None, ge=-60, le=55)
    rel_humidity_pct: float | None = Field(default=None, ge=0, le=100)
    rain_mm: float | None = Field(default=None, ge=0, le=200)


class Told(Part):
    """One piece of work as told. Times are texts as people write them: 07:30, yesterday 07:30, ISO 8601."""

    job: str = Field(min_length=1)
    surface: str = Field(min_length=1)
    kind: str = Field(default="", description="Only for a job that the rules file does not have.")
    started: str = Field(default="", description="Left out: the job's usual length before its end.")
    finished: str = Field(default="", description="Left out: the job's usual length after its start, or now.")
    materials: tuple[MaterialTold, ...] = ()
    water_l: float | None = Field(default=None, ge=0, le=100_000)
    area_m2: float | None = Field(
        default=None, gt=0, le=1_000_000, description="When not all of the surface."
    )
    operator: str | None = Field(default=None, description="Left out: the keeper of the site file.")
    licence: str | None = None
    notes: str = ""
    target: str = Field(default="", description="Weed, disease or purpose, for the record sheet.")
    cover_pct: float | None = Field(default=None, ge=0, le=100)
    tackifier: bool | None = None
    grass: str = ""
    cut_height_mm: float | None = Field(default=None, gt=0, le=200)
    leaf_length_mm: float | None = Field(default=None, gt=0, le=500, description="Measured before the cut.")
    measured: Measured = Measured()
