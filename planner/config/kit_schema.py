"""What a site file may say of kit, keeper, messages and wanted work, and a materials file of materials."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from planner.config.names import Form, JobName, MaterialName, SurfaceName
from planner.errors import InputError
from planner.mix.kit import Material, Nozzle, Range, Sprayer, Stocked
from planner.rules.base import YesNo
from planner.rules.clock import NEVER, Clock, Spans, TimeOfDay
from planner.terms import WEEKDAYS

Pair = tuple[Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)]]


@contextmanager
def _as_fault() -> Iterator[None]:
    """A refusal of the things that are made of a table becomes a fault of the table."""
    try:
        yield
    except InputError as error:
        raise PydanticCustomError("cannot_be_used", "{says}", {"says": f"cannot be used: {error}"}) from error


def _range(pair: tuple[float, float] | None) -> Range:
    return Range() if pair is None else Range(lowest=pair[0], highest=pair[1])


class Part(BaseModel):
    """A table of the file."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class SprayerPart(Part):
    """A sprayer with its nozzles. The first one is taken when none is named."""

    name: str = Field(min_length=1)
    tank_l: float = Field(gt=0, le=5000)
    nozzle: str = Field(description='Size of ISO 10625 by number or colour, such as "04" or "red".')
    nozzle_pressure_bar: Pair | None = Field(default=None, description="Range its maker allows.")
    nozzles: int = Field(ge=1, le=100)
    spacing_m: float = Field(
        gt=0, le=10, description="Between nozzles; for a single nozzle the width it covers."
    )
    pressure_bar: float = Field(gt=0, le=20)
    speed_kmh: float = Field(gt=0, le=20)
    measured_flow_lmin: float | None = Field(
        default=None, gt=0, description="Mean flow of one nozzle, caught."
    )
    measured_on: date | None = None

    @model_validator(mode="after")
    def _can_be_made(self) -> SprayerPart:
        with _as_fault():
            self.made()
        return self

    def made(self) -> Sprayer:
        """The sprayer; InputError when there is no such nozzle."""
        own = self.model_dump(exclude={"nozzle", "nozzle_pressure_bar"})
        return Sprayer(nozzle=Nozzle.iso(self.nozzle, _range(self.nozzle_pressure_bar)), **own)


class SpreaderPart(Part):
    """A spreader of granules or seed. The first one is taken when none is named."""

    name: str = Field(min_length=1)
    hopper_kg: float = Field(gt=0, le=5000)
    swath_m: float = Field(gt=0, le=40, description="From one pass to the next.")
    measured_gm2: float | None = Field(default=None, gt=0, description="What a tray last caught.")
    measured_on: date | None = None


class KeeperPart(Part):
    """Who works here, for the diary and the spray record."""

    name: str = ""
    licence: str = Field(default="", description="Number of the applicator's licence or certificate.")


class WeekPart(Part):
    """The keeper's working time, for the order of the week."""

    hours_a_day: float | None = Field(
        default=None,
        gt=0,
        le=24,
        description="No more hours of work in a day than these; 8 where neither they nor [hours] are told.",
    )
    days: int = Field(default=7, ge=1, le=14, description="How many days ahead work is placed.")


class AwayPart(Part):
    """A time in which the keeper or the kit is elsewhere."""

    start: datetime
    end: datetime
    why: str = ""

    @model_validator(mode="after")
    def _ends_after_start(self) -> AwayPart:
        if (self.start.tzinfo is None) != (self.end.tzinfo is None):
            raise ValueError("give both times with an offset, or both without")
        if self.end <= self.start:
            raise ValueError("must end after it starts")
        return self


class QuietPart(Part):
    """Hours in which only what cannot wait is sent (a warning to act on at once)."""

    begins: TimeOfDay = Field(description='Local time such as "22:00".')
    ends: TimeOfDay = Field(description='Local time such as "06:30".')


class MorningPart(Part):
    """A message of two lines, once a day: today's work, and tomorrow's best spray."""

    at: TimeOfDay = Field(description='Local time such as "06:00"; it goes out with the next pass.')


class OutputPart(Part):
    """One way to send warnings. A key that ends in `_env` names an environment variable with the secret."""

    kind: str
    name: str = Field(default="", description="Its own name; the kind when left out.")

    @property
    def called(self) -> str:
        """The name by which the outbox knows it."""
        return self.name or self.kind

    @property
    def settings(self) -> dict[str, Any]:
        """Settings as written, those left out left out."""
        written = self.model_dump(exclude={"kind", "name"}, exclude_unset=True, exclude_none=True)
        return {**written, "name": self.called}


class LogPart(OutputPart):
    """The program's log."""

    kind: Literal["log"] = "log"


class WebhookPart(OutputPart):
    """One POST of JSON for each message."""

    kind: Literal["webhook"]
    url: str | None = Field(default=None, pattern="^https?://", description="Its address; or url_env.")
    url_env: str | None = None
    token_env: str | None = None
    headers: dict[str, str] = {}
    timeout_s: float = Field(default=10.0, gt=0, le=120)
    idempotent: YesNo = Field(default=True, description="Whether the other side drops repeats by its header.")

    @model_validator(mode="after")
    def _has_address(self) -> WebhookPart:
        if (self.url is None) == (self.url_env is None):
            raise ValueError("give one of url, url_env")
        return self


class EmailPart(OutputPart):
    """One e-mail for each message."""

    kind: Literal["email"]
    host: str = Field(min_length=1)
    sender: str = Field(min_length=3)
    to: tuple[str, ...] = Field(min_length=1)
    port: int | None = Field(default=None, ge=1, le=65535)
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: str | None = None
    password_env: str | None = None
    ca_file: str | None = None
    timeout_s: float = Field(default=20.0, gt=0, le=300)

    @model_validator(mode="after")
    def _not_in_the_clear(self) -> EmailPart:
        if self.security == "none" and self.password_env is not None:
            raise ValueError("a password would go in the clear: set security to starttls or tls")
        return self


class MqttPart(OutputPart):
    """Retained topics on a broker."""

    kind: Literal["mqtt"]
    host: str = Field(min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    user: str | None = None
    password_env: str | None = None
    tls: YesNo = False
    ca_file: str | None = None
    node: str = "haysel"
    timeout_s: float = Field(default=10.0, gt=0, le=120)


class ApprisePart(OutputPart):
    """One address of the apprise package, which speaks to many messengers."""

    kind: Literal["apprise"]
    url_env: str = Field(min_length=1, description="Environment variable with the address: it is a secret.")


AnyOutput = Annotated[LogPart | WebhookPart | EmailPart | MqttPart | ApprisePart, Field(discriminator="kind")]


class HomePart(Part):
    """The broker on which the site is shown as a device of a home dashboard (MQTT discovery)."""

    host: str = Field(min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    user: str | None = None
    password_env: str | None = Field(default=None, description="Environment variable with the password.")
    tls: YesNo = False
    ca_file: str | None = None
    node: str = "haysel"
    prefix: str = "homeassistant"
    url: str | None = None


class GrowthPart(Part):
    """Growth of one surface, where the keeper knows better than the shipped guesses."""

    full_growth_mm_d: float | None = Field(
        default=None, gt=0, le=30, description="Growth of leaf in a day of full growth."
    )
    nitrogen_month_g_m2: float | None = Field(
        default=None, gt=0, le=20, description="Nitrogen of a month of full growth."
    )


class WantedPart(Part):
    """Work that is wanted: once by a time, or again and again."""

    job: JobName
    surface: SurfaceName = Field(default="", description="All surfaces of the job when left out.")
    by: datetime | None = Field(default=None, description="Once, by this time.")
    every_days: float | None = Field(default=None, ge=0.5, le=400)
    times_a_week: float | None = Field(default=None, gt=0, le=14)
    every_degree_days: float | None = Field(
        default=None, gt=0, le=5000, description="Warmth over the grass's base since the last time."
    )
    not_before: datetime | None = Field(default=None, description="Not placed before this time.")
    material: MaterialName = Field(
        default="",
        description="What is put out. Where it is named its label's limits hold; when left out, the job's first is "
        "mixed.",
    )

    @model_validator(mode="after")
    def _one_way(self) -> WantedPart:
        ways = ("by", "every_days", "times_a_week", "every_degree_days")
        if sum(getattr(self, way) is not None for way in ways) != 1:
            raise ValueError(f"give one of {', '.join(ways)}")
        return self


#: When play begins on a day of which no more is told. Judgement.
PLAY_BEGINS = time(10)


class PlayPart(Part):
    """A play day. Work on the surface is counted back from it."""

    surface: SurfaceName = Field(default="", description="Every surface when left out.")
    at: datetime = Field(
        description="When play begins; a date alone stands for 10:00. Local time when no offset is given."
    )

    @field_validator("at", mode="before")
    @classmethod
    def _of_a_date(cls, written: object) -> object:
        is_date = isinstance(written, date) and not isinstance(written, datetime)
        return datetime.combine(written, PLAY_BEGINS) if is_date else written  # type: ignore[arg-type]


class HoursPart(Part):
    """The keeper's working hours: all work begins and ends inside. A weekday left out is none."""

    mon: Spans | None = None
    tue: Spans | None = None
    wed: Spans | None = None
    thu: Spans | None = None
    fri: Spans | None = None
    sat: Spans | None = None
    sun: Spans | None = None

    def need(self) -> Clock:
        """The need that holds every job inside these hours."""
        never = ((NEVER, NEVER),)
        return Clock(
            id="keeper_hours",
            label="your working hours",
            low="outside your working hours",
            source="your site file",
            days={day: getattr(self, day) or never for day in WEEKDAYS},
        )


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
        with _as_fault():
            self.made()
        return self

    def made(self) -> Stocked:
        """The material; InputError when its figures do not fit together."""
        own = set(Material.__dataclass_fields__) - {"volume_lha", "pressure_bar", "speed_kmh"}
        return Stocked(
            material=Material(
                volume_lha=_range(self.volume_lha),
                pressure_bar=_range(self.pressure_bar),
                speed_kmh=_range(self.speed_kmh),
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
