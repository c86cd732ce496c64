"""Materials as the keeper holds them: figures for the tank, and what the label says of weather and people."""

from __future__ import annotations

from dataclasses import dataclass, field

from planner.mix import Material, Range


@dataclass(frozen=True, slots=True, kw_only=True)
class Stocked:
    """One material of the materials file. What its label does not say is None."""

    material: Material
    jobs: tuple[str, ...] = ()
    """Jobs it is used for; the first material of a job is the one taken when none is named."""
    product: str = ""
    """The name exactly as on the label; empty when not written down."""
    registration: str = ""
    rainfast_h: float | None = None
    """Dry hours from the end of the work until rain takes nothing off any more."""
    reentry_h: float | None = None
    air_temp_c: Range = field(default_factory=Range)
    lasts_degree_days: float | None = None
    """For a growth regulator: warmth over the grass's base after which it is due again."""

    @property
    def name(self) -> str:
        """Its name in commands and in the diary."""
        return self.material.name
