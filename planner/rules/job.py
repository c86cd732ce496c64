"""A job of the keeper: where, how long, and what it needs. A new kind of need is a class and a row here."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from planner.rules.base import Need
from planner.rules.clock import Clock, Season
from planner.rules.gap import Count, Gap
from planner.rules.limit import Limit, Slope
from planner.site import Edge, Site, Surface
from planner.terms import SPRAYING

#: Untreated strip beside water where no label says more (UK advice on drift adds 2 m).
STRIP_M = 2.0
#: The table of kinds. A need without `kind` is a limit on a quantity.
KINDS = {
    "limit": Limit,
    "gap": Gap,
    "clock": Clock,
    "season": Season,
    "count": Count,
    "slope": Slope,
}


def _kind_of(raw: object) -> str:
    kind = raw.get("kind", "limit") if isinstance(raw, dict) else getattr(raw, "kind", "limit")
    return str(kind)


AnyNeed = Annotated[
    Annotated[Limit, Tag("limit")]
    | Annotated[Gap, Tag("gap")]
    | Annotated[Clock, Tag("clock")]
    | Annotated[Season, Tag("season")]
    | Annotated[Count, Tag("count")]
    | Annotated[Slope, Tag("slope")],
    Discriminator(_kind_of),
]


class Job(BaseModel):
    """A job of the rules file with all its needs."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    name: str = Field(description="Name used in commands and in the diary.")
    label: str = Field(description="The job in the keeper's words.")
    kind: str = Field(description="spraying, seeding, fertilising, mowing, or another.")
    surfaces: tuple[str, ...] = Field(
        min_length=1, description="Names or kinds of the surfaces it is done on."
    )
    duration_min: float = Field(gt=0, le=24 * 60, description="How long the work takes, in minutes.")
    has_label: bool = Field(
        default=False, description="A product label binds it: no least-bad hour is shown."
    )
    same_day_after: tuple[str, ...] = Field(
        default=(), description="Jobs or kinds that come first where both fall on one day."
    )
    before_play_d: tuple[float, float] | None = Field(
        default=None, description="[from, to] days before a play day that are best for it."
    )
    on_play_morning: bool = Field(
        default=False, description="Where it is wanted at all, it is wanted on the morning of a play day."
    )
    off: bool = Field(default=False, description="Not done here; the name stays known.")
    needs: tuple[AnyNeed, ...] = Field(min_length=1)
    cautions: tuple[str, ...] = ()
    buffers_m: dict[str, float] = Field(
        default={}, description="Untreated strip beside water that a label asks for, by surface."
    )
    why: str = Field(default="", description="Why the job is the way it is, in a line.")

    @property
    def duration_h(self) -> float:
        """Length of the work in hours."""
        return self.duration_min / 60.0

    def cautions_on(self, surface: Surface) -> tuple[str, ...]:
        """The cautions on a surface: a spray's name what lies beside it."""
        if self.kind != SPRAYING:
            return self.cautions
        return (*self.cautions, *(says for edge in surface.edges for says in self._beside(edge, surface)))

    def _beside(self, edge: Edge, surface: Surface) -> tuple[str, ...]:
        if edge.kind == "water" and edge.is_near:
            strip = self.buffers_m.get(surface.name)
            how = (
                f"{strip:g} m, as your label asks,"
                if strip is not None
                else f"{STRIP_M:g} m or what the label asks"
            )
            return (f"Leave an untreated strip of {how} beside {edge.called}.",)
        if edge.kind == "bees":
            return (
                f"Bees at {edge.called}: spray nothing in flower, mow the flowers off first, keep under 8 km/h of "
                "wind, and tell the bee-keeper two days ahead.",
            )
        return ()

    def runs_on(self, surface: Surface) -> bool:
        """Whether it is done on that surface."""
        return surface.name in self.surfaces or surface.kind in self.surfaces

    def surfaces_of(self, site: Site) -> tuple[Surface, ...]:
        """The surfaces of the site it is done on, in the site's order."""
        return tuple(surface for surface in site.surfaces if self.runs_on(surface))

    def needs_on(self, surface: Surface) -> tuple[Need, ...]:
        """The needs that are meant for that surface."""
        return tuple(own for need in self.needs for own in need.on(surface))
