"""What a materials file may say. Descriptions go into the schema for editors."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from planner.config.kit_schema import Pair, Part, as_fault, range_of
from planner.config.names import Form, JobName, MaterialName
from planner.mix.kit import Material, Range, Stocked
from planner.rules.base import YesNo


class MaterialPart(Part):
    """Something put on turf, and what its label says. The label itself is the law, not these figures."""

    name: str = Field(min_length=1)
    jobs: tuple[JobName, ...] = Field(default=(), description="Jobs of the rules file it is used for.")
    unit: Literal["L", "kg"] = Field(description="Unit of the product and its rates.")
    rate_per_ha: float = Field(gt=0, description="In that unit per hectare; 10 kg/ha is 1 g/m2.")
    most_per_ha: float | None = Field(default=None, gt=0, description="The label's highest rate.")
    form: Form = Field(default="soluble", description="How it is mixed; granular is spread dry.")
    density_kgl: float | None = Field(default=None, gt=0, le=3)
    analysis_pct: dict[str, float] = Field(default={}, description="Percent of N, P2O5, K2O, Fe and so on.")
    basis: Literal["w/w", "w/v"] = "w/w"
    volume_lha: Pair | None = Field(default=None, description="Water the label asks for.")
    pressure_bar: Pair | None = None
    speed_kmh: Pair | None = None
    rainfast_h: float | None = Field(
        default=None, ge=0, le=72, description="Dry hours needed after the work."
    )
    reentry_h: float | None = Field(default=None, ge=0, le=720)
    air_temp_min_c: float | None = Field(default=None, ge=-10, le=45)
    air_temp_max_c: float | None = Field(default=None, ge=-10, le=45)
    needs_licence: YesNo = False
    product: str = Field(default="", description="The name exactly as on the label.")
    registration: str = Field(default="", description="Registration number on the label.")
    lasts_degree_days: float | None = Field(
        default=None, gt=0, le=5000, description="For a growth regulator: warmth until it is due again."
    )
    interval_d: float | None = Field(
        default=None, gt=0, le=730, description="Days the label asks for between two uses."
    )
    buffer_m: float | None = Field(
        default=None, ge=0, le=200, description="Untreated strip the label asks for beside water."
    )
    mixes_with: tuple[MaterialName, ...] = Field(
        default=(), description="Materials that the labels of both allow in one tank."
    )
    cautions: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _can_be_made(self) -> MaterialPart:
        with as_fault():
            self.made()
        return self

    def made(self) -> Stocked:
        """The material; InputError when its figures do not fit together."""
        own = set(Material.__dataclass_fields__) - {"volume_lha", "pressure_bar", "speed_kmh"}
        return Stocked(
            material=Material(
                volume_lha=range_of(self.volume_lha),
                pressure_bar=range_of(self.pressure_bar),
                speed_kmh=range_of(self.speed_kmh),
                **self.model_dump(include=own),
            ),
            jobs=self.jobs,
            product=self.product,
            registration=self.registration,
            rainfast_h=self.rainfast_h,
            reentry_h=self.reentry_h,
            air_temp_c=Range(lowest=self.air_temp_min_c, highest=self.air_temp_max_c),
            lasts_degree_days=self.lasts_degree_days,
            interval_d=self.interval_d,
            buffer_m=self.buffer_m,
            mixes_with=self.mixes_with,
        )


class MaterialsFile(Part):
    """A whole materials file."""

    materials: tuple[MaterialPart, ...] = ()
