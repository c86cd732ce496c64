"""What a site file may say of kit, keeper, messages and wanted work. Descriptions go into a new site file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from planner.config.names import JobName, MaterialName, SurfaceName
from planner.errors import InputError
from planner.mix.kit import Nozzle, Range, Sprayer
from planner.planning.shared import Shared
from planner.rules.base import YesNo
from planner.rules.clock import NEVER, Clock, Spans, TimeOfDay
from planner.terms import WEEKDAYS

Pair = tuple[Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)]]


@contextmanager
def as_fault() -> Iterator[None]:
    """A refusal of the things that are made of a table becomes a fault of the table."""
    try:
        yield
    except InputError as error:
        raise PydanticCustomError("cannot_be_used", "{says}", {"says": f"cannot be used: {error}"}) from error


def range_of(pair: tuple[float, float] | None) -> Range:
    """The range of a pair, least and most; one without ends where there is no pair."""
    return Range() if pair is None else Range(lowest=pair[0], highest=pair[1])


class Part(BaseModel):
    """A table of the file."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SprayerPart(Part):
    """A sprayer with its nozzles. The first one is taken when none is named."""

    name: str = Field(min_length=1, description="Its name in commands and in the diary.")
    tank_l: float = Field(gt=0, le=5000, description="What the tank holds, L.")
    nozzle: str = Field(description='Size of ISO 10625 by number or colour, such as "04" or "red".')
    nozzle_pressure_bar: Pair | None = Field(default=None, description="Range its maker allows.")
    nozzles: int = Field(ge=1, le=100, description="How many spray at once.")
    spacing_m: float = Field(
        gt=0, le=10, description="Between nozzles; for a single nozzle the width it covers."
    )
    pressure_bar: float = Field(gt=0, le=20, description="Pressure at the nozzle while you spray.")
    speed_kmh: float = Field(gt=0, le=20, description="Your pace while you spray.")
    measured_flow_lmin: float | None = Field(
        default=None, gt=0, description="Mean flow of one nozzle, caught."
    )
    measured_on: date | None = Field(default=None, description="When that was caught.")
    shared: YesNo = Field(
        default=False,
        description="Whether other sites of this store use the same one, by its name, so that no two get it at once.",
    )
    move_min: float = Field(
        default=60.0, ge=0, le=1440, description="Minutes to bring a shared one from one site to another."
    )

    @model_validator(mode="after")
    def _can_be_made(self) -> SprayerPart:
        with as_fault():
            self.made()
        return self

    def made(self) -> Sprayer:
        """The sprayer; InputError when there is no such nozzle."""
        own = self.model_dump(exclude={"nozzle", "nozzle_pressure_bar", "shared", "move_min"})
        return Sprayer(nozzle=Nozzle.iso(self.nozzle, range_of(self.nozzle_pressure_bar)), **own)

    def in_common(self) -> Shared | None:
        """The sprayer as the week is planned with it, where other sites use it too."""
        if not self.shared:
            return None
        return Shared(name=self.name, is_keeper=False, move_h=self.move_min / 60.0)


class SpreaderPart(Part):
    """A spreader of granules or seed. The first one is taken when none is named."""

    name: str = Field(min_length=1, description="Its name in commands and in the diary.")
    hopper_kg: float = Field(gt=0, le=5000, description="What the hopper holds, kg.")
    swath_m: float = Field(gt=0, le=40, description="From one pass to the next.")
    measured_gm2: float | None = Field(default=None, gt=0, description="What a tray last caught.")
    measured_on: date | None = Field(default=None, description="When the tray was caught.")


class KeeperPart(Part):
    """Who works here, for the diary and the spray record."""

    name: str = Field(default="", description="Written into new diary entries.")
    licence: str = Field(default="", description="Number of the applicator's licence or certificate.")
    shared: YesNo = Field(
        default=False,
        description="Whether the same person, by name, keeps other sites of this store, so that no two have work at "
        "once. The sprayer then goes along.",
    )
    move_min: float = Field(default=30.0, ge=0, le=1440, description="Minutes from one site to another.")

    @model_validator(mode="after")
    def _has_a_name(self) -> KeeperPart:
        if self.shared and not self.name:
            raise ValueError("give the name by which the sites know the keeper they share")
        return self

    def in_common(self) -> Shared | None:
        """The keeper as the week is planned, where other sites have the same one."""
        return Shared(name=self.name, is_keeper=True, move_h=self.move_min / 60.0) if self.shared else None


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

    start: datetime = Field(description="From when. Local time when no offset is given.")
    end: datetime = Field(description="Until when.")
    why: str = Field(default="", description="Shown where work finds no hour for it.")

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

    kind: Literal["log"] = Field(default="log", description="Each message is a line of the log.")


class WebhookPart(OutputPart):
    """One POST of JSON for each message."""

    kind: Literal["webhook"] = Field(description="One POST of JSON for each message.")
    url: str | None = Field(default=None, pattern="^https?://", description="Its address; or url_env.")
    url_env: str | None = Field(
        default=None, description="Variable that holds the address, where it is a secret."
    )
    token_env: str | None = Field(
        default=None, description="Variable that holds a token, sent as Authorization: Bearer."
    )
    headers: dict[str, str] = Field(default={}, description="Further headers, by name.")
    timeout_s: float = Field(default=10.0, gt=0, le=120, description="How long to wait for an answer.")
    idempotent: YesNo = Field(default=True, description="Whether the other side drops repeats by its header.")

    @model_validator(mode="after")
    def _has_address(self) -> WebhookPart:
        if (self.url is None) == (self.url_env is None):
            raise ValueError("give one of url, url_env")
        return self


class EmailPart(OutputPart):
    """One e-mail for each message."""

    kind: Literal["email"] = Field(description="One e-mail for each message.")
    host: str = Field(min_length=1, description="Mail server.")
    sender: str = Field(min_length=3, description="Address it comes from.")
    to: tuple[str, ...] = Field(min_length=1, description="Addresses it goes to.")
    port: int | None = Field(
        default=None, ge=1, le=65535, description="Its port; the usual one of the security when left out."
    )
    security: Literal["starttls", "tls", "none"] = Field(
        default="starttls", description="starttls, tls or none."
    )
    user: str | None = Field(default=None, description="Name to log in with.")
    password_env: str | None = Field(default=None, description="Variable that holds the password.")
    ca_file: str | None = Field(default=None, description="Certificate of a server of your own.")
    timeout_s: float = Field(default=20.0, gt=0, le=300, description="How long to wait for the server.")

    @model_validator(mode="after")
    def _not_in_the_clear(self) -> EmailPart:
        if self.security == "none" and self.password_env is not None:
            raise ValueError("a password would go in the clear: set security to starttls or tls")
        return self


class MqttPart(OutputPart):
    """Retained topics on a broker."""

    kind: Literal["mqtt"] = Field(description="Retained topics on a broker; needs the mqtt extra.")
    host: str = Field(min_length=1, description="Broker.")
    port: int = Field(default=1883, ge=1, le=65535, description="Its port.")
    user: str | None = Field(default=None, description="Name to log in with.")
    password_env: str | None = Field(default=None, description="Variable that holds the password.")
    tls: YesNo = Field(default=False, description="Whether the connection is encrypted.")
    ca_file: str | None = Field(default=None, description="Certificate of a broker of your own.")
    node: str = Field(default="haysel", description="First part of the topics.")
    birth_topic: str = Field(
        default="homeassistant/status",
        min_length=1,
        description="Where a hub says online when it has started.",
    )
    timeout_s: float = Field(default=10.0, gt=0, le=120, description="How long to wait for the broker.")


class ApprisePart(OutputPart):
    """One address of the apprise package, which speaks to many messengers."""

    kind: Literal["apprise"] = Field(
        description="One address of the apprise package; needs the notify extra."
    )
    url_env: str = Field(min_length=1, description="Environment variable with the address: it is a secret.")


AnyOutput = Annotated[LogPart | WebhookPart | EmailPart | MqttPart | ApprisePart, Field(discriminator="kind")]


class HomePart(Part):
    """The broker on which the site is shown as a device of a home dashboard (MQTT discovery)."""

    host: str = Field(min_length=1, description="Broker; needs the mqtt extra.")
    port: int = Field(default=1883, ge=1, le=65535, description="Its port.")
    user: str | None = Field(default=None, description="Name to log in with.")
    password_env: str | None = Field(default=None, description="Environment variable with the password.")
    tls: YesNo = Field(default=False, description="Whether the connection is encrypted.")
    ca_file: str | None = Field(default=None, description="Certificate of a broker of your own.")
    node: str = Field(
        default="haysel",
        description="First part of the topics, and the device by which the hub knows the site.",
    )
    prefix: str = Field(
        default="homeassistant", description="First part of the topics of discovery, as the hub has it."
    )
    birth_topic: str | None = Field(
        default=None, min_length=1, description="Where the hub says online; PREFIX/status when left out."
    )
    diary: Literal["off", "token", "broker"] = Field(
        default="off",
        description="Whether a message writes a diary entry: never, with the write token in it, or from whomever the "
        "broker lets publish.",
    )
    url: str | None = Field(
        default=None,
        description="Address of this service as the hub reaches it; the device then links to it.",
    )


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

    job: JobName = Field(description="A job of the rules file.")
    surface: SurfaceName = Field(default="", description="All surfaces of the job when left out.")
    by: datetime | None = Field(default=None, description="Once, by this time.")
    every_days: float | None = Field(
        default=None, ge=0.5, le=400, description="Again, so many days after the last time."
    )
    times_a_week: float | None = Field(default=None, gt=0, le=14, description="Again, so many times a week.")
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

    mon: Spans | None = Field(default=None, description='Monday, such as "07:00-09:30, 16:00-19:00".')
    tue: Spans | None = Field(default=None, description='Tuesday, such as "07:00-09:30, 16:00-19:00".')
    wed: Spans | None = Field(default=None, description='Wednesday, such as "07:00-09:30, 16:00-19:00".')
    thu: Spans | None = Field(default=None, description='Thursday, such as "07:00-09:30, 16:00-19:00".')
    fri: Spans | None = Field(default=None, description='Friday, such as "07:00-09:30, 16:00-19:00".')
    sat: Spans | None = Field(default=None, description='Saturday, such as "07:00-09:30, 16:00-19:00".')
    sun: Spans | None = Field(default=None, description='Sunday, such as "07:00-09:30, 16:00-19:00".')

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
