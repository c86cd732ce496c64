"""A job of the keeper: where, how long, and what it needs."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from planner.rules import AnyNeed
from planner.rules.base import Need
from planner.site import Site, Surface

#: The four kinds that every keeper has; any other word is allowed as well.
KINDS_OF_JOB = ("spraying", "seeding", "fertilising", "mowing")


class Job(BaseModel):
    """A job as the rules file tells it, with all its needs gathered."""

    model_config = ConfigDict(frozen=True, extra="forbid")

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
    off: bool = Field(default=False, description="Not done here; the name stays known.")
    needs: tuple[AnyNeed, ...] = Field(min_length=1)
    cautions: tuple[str, ...] = ()
    why: str = Field(default="", description="Why the job is the way it is, in a line.")

    @property
    def duration_h(self) -> float:
        """Length of the work in hours."""
        return self.duration_min / 60.0

    def runs_on(self, surface: Surface) -> bool:
        """Whether it is done on that surface."""
        return surface.name in self.surfaces or surface.kind in self.surfaces

    def surfaces_of(self, site: Site) -> tuple[Surface, ...]:
        """The surfaces of the site it is done on, in the site's order."""
        return tuple(surface for surface in site.surfaces if self.runs_on(surface))

    def needs_on(self, surface: Surface) -> tuple[Need, ...]:
        """The needs that are meant for that surface."""
        return tuple(n for n in self.needs if n.fits(surface.name, surface.kind, surface.soil))
