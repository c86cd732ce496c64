"""What a site file may say. Descriptions go into the schema for editors."""

from __future__ import annotations

import re
from datetime import datetime
from ipaddress import ip_network
from typing import Annotated, Any, Literal, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, Field, WithJsonSchema, field_validator, model_validator

from planner.config import kit_schema
from planner.config.names import GrassName, JobName, ProviderNames, ShippedGrass, SurfaceName
from planner.diary.observations import Figures, figures_of, lacks
from planner.rules.base import YesNo
from planner.site import MAIN

#: What a surface may be; a job names its surfaces by these or by their names.
SurfaceKind = Literal["green", "collar", "apron", "surround", "tee", "rough"]
SURFACE_KINDS: tuple[str, ...] = get_args(SurfaceKind)
#: Textures as they may be written.
Soil = Literal["sand", "loamy_sand", "sandy_loam", "loam", "silt_loam", "clay_loam", "clay"]
Ratio = Annotated[float, Field(ge=0, le=1)]
#: A path under which a proxy shows the service: names between slashes, and nothing that leads elsewhere.
PREFIX = re.compile(r"(?:/(?!\.{1,2}(?:/|$))[A-Za-z0-9._~-]+){1,8}")
#: One name or a list of them, as it may be written; a list once it is read.
RulesNames = Annotated[
    tuple[str, ...],
    BeforeValidator(lambda names: (names,) if isinstance(names, str) else names),
    WithJsonSchema(
        {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]}
    ),
]


class SitePart(kit_schema.Part):
    """The place."""

    name: str = Field(
        min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]+$", description="As it is shown."
    )
    latitude_deg: float = Field(ge=-90, le=90, description="Degrees, north of the equator positive.")
    longitude_deg: float = Field(ge=-180, le=180, description="Degrees, east of Greenwich positive.")
    elevation_m: float = Field(ge=-430, le=6000, description="Height above sea level.")
    timezone: str = Field(description="IANA zone such as Europe/London.")
    jobs: tuple[JobName, ...] = Field(
        default=(),
        description="The jobs this keeper does; the others are shown only when asked for. All when left out.",
    )
    dormant_from: str = Field(
        default="",
        pattern=r"^$|^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$",
        description='Month and day from which the grass usually rests, "11-15".',
    )
    key: str = Field(
        default=MAIN,
        pattern=r"^[a-z0-9_-]{1,40}$",
        description="What the store knows the site by. Keep it when the site is renamed or moves.",
    )
    units: Literal["metric", "imperial"] = Field(
        default="metric",
        description="What people read: °C, mm, km/h, or °F, in, mph. Files and answers for programs stay metric.",
    )

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise ValueError(f'"{name}" is not an IANA zone such as Europe/London or Etc/GMT+5') from error
        return name


class EdgePart(kit_schema.Part):
    """Something beside the surface that drift must not reach."""

    name: str = Field(description="What you call it.")
    bearing_deg: float = Field(ge=0, lt=360, description="Direction from the surface to it, 90 is east.")
    distance_m: float | None = Field(
        default=None, ge=0, le=10_000, description="How far away; near when left out."
    )
    kind: Literal["water", "plants", "people", "bees", "other"] = Field(
        default="water", description="What it is; counted as water when left out."
    )


class GrassPart(kit_schema.Part):
    """Settings of a grass that replace those of the shipped table."""

    like: ShippedGrass = Field(description="Name of a grass in the shipped table.")
    optimum_c: float | None = Field(default=None, ge=5, le=40, description="Air at which it grows best.")
    width_c: float | None = Field(
        default=None, gt=0, le=20, description="How fast growth falls away on both sides of that."
    )
    degree_day_base_c: float | None = Field(
        default=None, ge=-5, le=20, description="Air from which warmth counts."
    )
    emergence_days: float | None = Field(
        default=None, gt=0, le=60, description="Days to emergence in soil at its best."
    )
    emergence_optimum_c: float | None = Field(
        default=None, ge=5, le=40, description="Soil at which seed comes up soonest."
    )
    emergence_base_c: float | None = Field(
        default=None, ge=-5, le=20, description="Soil below which seed does not move."
    )


class SurfacePart(kit_schema.Part):
    """One piece of turf that is kept alike."""

    name: str = Field(min_length=1, description="What you call it; jobs, diary and windows name it so.")
    kind: SurfaceKind = Field(description="What is kept there: it decides which jobs are meant for it.")
    area_m2: float = Field(gt=0, le=1_000_000, description="Area that is treated, for amounts and seed.")
    grass: GrassName = Field(description="A grass of the shipped table or of [grasses].")
    cut_height_mm: float = Field(gt=0, le=200, description="Height of the cut.")
    slope_pct: float = Field(
        default=0.0, ge=0, le=100, description="Fall in metres on 100 m. From 5 the ground sheds hard rain."
    )
    slope_length_m: float = Field(
        default=10.0,
        gt=0,
        le=500,
        description="How far water runs down that slope over the surface: the longer, the more seed it carries off.",
    )
    soil: Soil = Field(default="loam", description="Texture of the root zone, by its USDA name.")
    root_depth_m: float = Field(
        default=0.15,
        gt=0.01,
        le=1.5,
        description="Depth from which the roots take water, for dryness and wilt. Dig and look.",
    )
    shade: Ratio = Field(default=0.0, description="Share of the light that is kept off, 0 to 1.")
    edges: tuple[EdgePart, ...] = Field(default=(), description="What drift must not reach.")


class MirrorPart(kit_schema.Part):
    """A weather service asked elsewhere than at its own address."""

    base_url: str = Field(
        default="",
        pattern=r"^(https?://[^\s?#]+[^\s?#/])?$",
        description="Address of a mirror; its own address when left out.",
    )


class ForecastPart(kit_schema.Part):
    """Where the weather comes from."""

    providers: ProviderNames = Field(
        default=("open-meteo",), min_length=1, description="Asked in this order."
    )
    ensemble: YesNo = Field(
        default=False, description="Ask a second time for ensemble members, for the chance."
    )
    every_minutes: int = Field(default=60, ge=10, le=1440, description="How often the service pulls.")
    past_days: int = Field(
        default=3, ge=1, le=14, description="Days gone by that are asked for as well, for soil and water."
    )
    days: int = Field(default=8, ge=2, le=16, description="Days ahead that are asked for.")
    stale_after_h: float = Field(
        default=6.0, gt=0, le=240, description="Older than this a forecast is marked stale."
    )
    budget_s: float = Field(default=60.0, gt=1, le=300, description="Time for one pull, retries and all.")
    contact: str = Field(default="", description="Mail or web address sent to providers that ask for one.")
    open_meteo: MirrorPart = Field(
        default=MirrorPart(), alias="open-meteo", description="Where it is asked, if not at its own address."
    )
    met_norway: MirrorPart = Field(
        default=MirrorPart(), alias="met-norway", description="Where it is asked, if not at its own address."
    )
    nws: MirrorPart = Field(default=MirrorPart(), description="Where it is asked, if not at its own address.")
    bright_sky: MirrorPart = Field(
        default=MirrorPart(), alias="bright-sky", description="Where it is asked, if not at its own address."
    )
    open_meteo_ensemble: MirrorPart = Field(
        default=MirrorPart(),
        alias="open-meteo-ensemble",
        description="Where it is asked, if not at its own address.",
    )

    @property
    def base_urls(self) -> dict[str, str]:
        """Addresses of mirrors, by the name of the service."""
        parts = {
            "open-meteo": self.open_meteo,
            "met-norway": self.met_norway,
            "nws": self.nws,
            "bright-sky": self.bright_sky,
            "open-meteo-ensemble": self.open_meteo_ensemble,
        }
        return {name: part.base_url for name, part in parts.items() if part.base_url}


class StorePart(kit_schema.Part):
    """Where passes and the diary are kept."""

    url: str = Field(
        default="sqlite:///.haysel/haysel.db", description="SQLAlchemy URL; SQLite or PostgreSQL."
    )
    forecast_days: int = Field(
        default=400,
        ge=60,
        le=4000,
        description="Days for which the last forecast of each day is kept, for lessons and the weather of late "
        "entries; of the last 14 days each is. Diary and readings stay for good.",
    )


class ServicePart(kit_schema.Part):
    """The HTTP service."""

    host: str = Field(
        default="127.0.0.1",
        description="Address it listens on: 127.0.0.1 for this machine alone, 0.0.0.0 for the whole network.",
    )
    port: int = Field(default=8480, ge=1, le=65535, description="Port it listens on.")
    token_env: str = Field(
        default="HAYSEL_TOKEN", description="Environment variable that holds the write token."
    )
    prefix: str = Field(
        default="",
        description="Path under which a proxy shows the service, such as /turf; empty at the root.",
    )
    trusted_proxies: tuple[str, ...] = Field(
        default=("127.0.0.1", "::1"),
        description="Addresses of proxies whose X-Forwarded headers are believed.",
    )
    read_from: tuple[Annotated[str, Field(pattern=r"^https?://[^/*\s]+$")], ...] = Field(
        default=(),
        description="Origins of other pages that may read the answers (CORS), such as https://hub.lan.",
    )
    hosts: tuple[Annotated[str, Field(pattern=r"^([A-Za-z0-9._-]{1,253}|[0-9A-Fa-f:.]{2,45})$")], ...] = (
        Field(
            default=(),
            description="Names by which it is asked, such as turf.example.org, or addresses; those of this machine are "
            "known, and beyond loopback or from a trusted proxy addresses and names of the house such as nas.lan.",
        )
    )
    reads_per_minute: int = Field(
        default=1200, ge=0, le=1_000_000, description="Reads from one address; 0 for no limit."
    )
    writes_per_minute: int = Field(
        default=120,
        ge=0,
        le=1_000_000,
        description="Writes from one address, refused ones too; 0 for no limit.",
    )
    wrong_tokens_per_minute: int = Field(
        default=10, ge=0, le=1_000_000, description="Wrong tokens from one address; 0 for no limit."
    )
    streams: int = Field(default=64, ge=0, le=400, description="Open event streams in all; 0 for no limit.")
    streams_per_client: int = Field(
        default=16, ge=0, le=400, description="Open event streams of one address; 0 for no limit."
    )
    log: Literal["text", "json"] = Field(
        default="text", description="Lines of the log: for people, or one JSON object each."
    )

    @field_validator("prefix")
    @classmethod
    def _is_path(cls, prefix: str) -> str:
        if prefix and not PREFIX.fullmatch(prefix):
            raise ValueError("a prefix begins with a slash and holds plain names, such as /turf")
        return prefix

    @field_validator("trusted_proxies")
    @classmethod
    def _are_addresses(cls, proxies: tuple[str, ...]) -> tuple[str, ...]:
        for one in proxies:
            try:
                ip_network(one, strict=False)
            except ValueError as error:
                raise ValueError(f'"{one}" is no address and no network, such as 10.0.0.0/24') from error
        return proxies


class WarningsPart(kit_schema.Part):
    """When a warning is raised. All of these are guesses to be moved by the keeper's own log."""

    wash_note: Ratio = Field(
        default=0.15,
        description="guess: chance (part of the ways rain may come) from which wash of seed is a note",
    )
    wash_care: Ratio = Field(default=0.4, description="guess: chance from which it asks for care")
    wash_act: Ratio = Field(default=0.65, description="guess: chance from which to act at once")
    frost_note: Ratio = Field(default=0.3, description="guess: chance of ground frost that is a note")
    frost_care: Ratio = Field(default=0.5, description="guess: chance of ground frost that asks for care")
    hysteresis: Ratio = Field(
        default=0.04, description="guess: how far below its threshold a figure falls to end a warning"
    )
    margin: Ratio = Field(
        default=0.1,
        description="guess: how far a level must be left, or the threshold passed for one that ended to come back",
    )
    dry_et0_mm: float = Field(
        default=2.5, gt=0, le=12, description="Day's evaporation from which fresh seed wants light water."
    )
    seed_heat_c: float = Field(default=30.0, ge=20, le=45, description="guess: day's highest for seedlings")
    rainfast_mm: float = Field(default=0.2, gt=0, le=10, description="guess: rain that takes a spray off")
    rainfast_share: float = Field(
        default=0.3, gt=0, le=1, description="guess: share of members with that rain from which it is told"
    )
    closed_spell_h: float = Field(
        default=48.0, gt=6, le=240, description="guess: a gap between windows that makes one the last"
    )
    due_ahead_d: float = Field(
        default=3.0, gt=0, le=30, description="guess: work due within this is worth a last-window warning"
    )
    overdue_care_d: float = Field(
        default=3.0, gt=0, le=60, description="guess: days overdue that ask for care"
    )


class SownPart(kit_schema.Part):
    """Seed in the ground."""

    surface: SurfaceName = Field(description="Where.")
    at: datetime = Field(description="When the sowing was finished. Local time when no offset is given.")
    grass: GrassName = Field(default="", description="Grass sown; the surface's own when left out.")
    cover_pct: float = Field(default=0.0, ge=0, le=100, description="Net, straw or mulch over it.")
    tackifier: YesNo = Field(default=False, description="Whether it was glued down.")


class ReadingPart(Figures, kit_schema.Part):
    """Water given, or something measured, told here instead of by command."""

    surface: SurfaceName = Field(default="", description="Left out: the whole site, for a gauge or the air.")
    at: datetime = Field(description="Local time when no offset is given.")
    note: str = Field(default="", description="A word of your own.")

    @model_validator(mode="after")
    def _says_something(self) -> ReadingPart:
        if fault := lacks(self.surface, figures_of(self)):
            raise ValueError(fault)
        return self


class WorkPart(kit_schema.Part):
    """Work done, or planned, on a surface."""

    job: JobName = Field(description="A job of the rules file.")
    surface: SurfaceName = Field(description="Where.")
    at: datetime = Field(
        description="When it was finished (or will begin). Local time when no offset is given."
    )


class SiteFile(kit_schema.Part):
    """A whole site file."""

    site: SitePart
    surfaces: tuple[SurfacePart, ...] = Field(min_length=1)
    rules: RulesNames = Field(
        default=("rules.toml",),
        min_length=1,
        description="The rules file beside this one, or several; a later one overrides and adds.",
    )
    materials: str = Field(default="materials.toml", description="The materials file, beside this one.")
    grasses: dict[str, GrassPart] = {}
    forecast: ForecastPart = ForecastPart()
    store: StorePart = StorePart()
    service: ServicePart = ServicePart()
    warnings: WarningsPart = WarningsPart()
    sown: tuple[SownPart, ...] = ()
    done: tuple[WorkPart, ...] = ()
    planned: tuple[WorkPart, ...] = ()
    readings: tuple[ReadingPart, ...] = ()
    sprayer: tuple[kit_schema.SprayerPart, ...] = ()
    spreader: tuple[kit_schema.SpreaderPart, ...] = ()
    keeper: kit_schema.KeeperPart = kit_schema.KeeperPart()
    outputs: tuple[kit_schema.AnyOutput, ...] = (kit_schema.LogPart(),)
    quiet_hours: kit_schema.QuietPart | None = None
    morning: kit_schema.MorningPart | None = None
    home: kit_schema.HomePart | None = None
    growth: dict[str, kit_schema.GrowthPart] = Field(
        default={}, description="Growth by the name of a surface."
    )
    wanted: tuple[kit_schema.WantedPart, ...] = ()
    play: tuple[kit_schema.PlayPart, ...] = ()
    hours: kit_schema.HoursPart | None = None
    week: kit_schema.WeekPart = kit_schema.WeekPart()
    away: tuple[kit_schema.AwayPart, ...] = ()
    constants: dict[str, float] = Field(default={}, description="Constants of the formulas that differ here.")
    jobs: dict[str, dict[str, Any]] = Field(
        default={}, description="Changes to jobs of the rules file: settings, and needs by their id."
    )

    @model_validator(mode="after")
    def _one_is_shared(self) -> SiteFile:
        if any(one.shared for one in self.sprayer[1:]):
            raise ValueError("name the shared sprayer first: it is the one that the week is planned with")
        if self.keeper.shared and any(one.shared for one in self.sprayer):
            raise ValueError("share the keeper or the sprayer: a shared keeper brings the sprayer along")
        return self
