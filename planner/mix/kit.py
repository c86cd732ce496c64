"""Nozzles, sprayers, spreaders and materials, as the keeper describes them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from planner.errors import InputError, NotKnown
from planner.mix.formulas import flow_at_pressure_lmin, positive

NOMINAL_BAR = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """From lowest to highest, both allowed; an open end is None."""

    lowest: float | None = None
    highest: float | None = None

    def __post_init__(self) -> None:
        if self.lowest is not None and self.highest is not None and self.highest < self.lowest:
            raise InputError(f"A range runs from {self.lowest:g} to {self.highest:g}. Put the lower first.")

    def below(self, value: float) -> bool:
        """Whether the value is too low."""
        return self.lowest is not None and value < self.lowest

    def above(self, value: float) -> bool:
        """Whether the value is too high."""
        return self.highest is not None and value > self.highest


@dataclass(frozen=True, slots=True, kw_only=True)
class IsoSize:
    """A nozzle size of ISO 10625: its number, its colour, its nominal flow at 3 bar."""

    size: str
    colour: str
    flow_3bar_lmin: float


#: Names and colours as published; flows are nominal, within 1 % of those computed from a printed 2-bar table.
ISO_SIZES: tuple[IsoSize, ...] = (
    IsoSize(size="01", colour="orange", flow_3bar_lmin=0.4),
    IsoSize(size="015", colour="green", flow_3bar_lmin=0.6),
    IsoSize(size="02", colour="yellow", flow_3bar_lmin=0.8),
    IsoSize(size="025", colour="lilac", flow_3bar_lmin=1.0),
    IsoSize(size="03", colour="blue", flow_3bar_lmin=1.2),
    IsoSize(size="04", colour="red", flow_3bar_lmin=1.6),
    IsoSize(size="05", colour="brown", flow_3bar_lmin=2.0),
    IsoSize(size="06", colour="grey", flow_3bar_lmin=2.4),
    IsoSize(size="08", colour="white", flow_3bar_lmin=3.2),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nozzle:
    """A nozzle: its flow at 3 bar when new, and the pressures its maker allows (open where not known)."""

    name: str
    flow_3bar_lmin: float
    pressure_bar: Range = field(default_factory=Range)

    def __post_init__(self) -> None:
        positive(self.flow_3bar_lmin, f"the flow of nozzle {self.name} in L/min at 3 bar")

    @classmethod
    def iso(cls, size: str, pressure_bar: Range | None = None) -> Nozzle:
        """The nozzle of an ISO 10625 size, by its number or its colour."""
        for known in ISO_SIZES:
            if size in (known.size, known.colour):
                name = f"{known.size} {known.colour}"
                return cls(
                    name=name, flow_3bar_lmin=known.flow_3bar_lmin, pressure_bar=pressure_bar or Range()
                )
        raise NotKnown("nozzle size", size, [f"{known.size} {known.colour}" for known in ISO_SIZES])

    def flow_lmin(self, pressure_bar: float) -> float:
        """Flow when new, at a pressure."""
        return flow_at_pressure_lmin(self.flow_3bar_lmin, NOMINAL_BAR, pressure_bar)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sprayer:
    """A sprayer with its nozzles, pressure and walking speed. A knapsack has one nozzle and its swath."""

    name: str
    tank_l: float
    nozzle: Nozzle
    nozzles: int
    spacing_m: float
    """Between nozzles; for a single nozzle, the width it covers."""
    pressure_bar: float
    speed_kmh: float
    measured_flow_lmin: float | None = None
    """Mean flow of one nozzle, caught at this pressure; None when never measured."""
    measured_on: date | None = None

    def __post_init__(self) -> None:
        positive(self.tank_l, f"the tank of {self.name} in L")
        positive(self.nozzles, f"the number of nozzles of {self.name}")
        positive(self.spacing_m, f"the nozzle spacing of {self.name} in m")
        positive(self.pressure_bar, f"the pressure of {self.name} in bar")
        positive(self.speed_kmh, f"the speed of {self.name} in km/h")
        if self.measured_flow_lmin is not None:
            positive(self.measured_flow_lmin, f"the measured flow of {self.name} in L/min")

    @property
    def flow_lmin(self) -> float:
        """Flow of one nozzle: as caught, else as new."""
        return self.measured_flow_lmin or self.nozzle.flow_lmin(self.pressure_bar)

    @property
    def swath_m(self) -> float:
        """Width covered by one pass."""
        return self.nozzles * self.spacing_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreader:
    """A spreader of granules or seed."""

    name: str
    hopper_kg: float
    swath_m: float
    """Effective swath: the distance from one pass to the next."""
    measured_gm2: float | None = None
    """What it put down when last measured at the present setting; None when never measured."""
    measured_on: date | None = None

    def __post_init__(self) -> None:
        positive(self.hopper_kg, f"the hopper of {self.name} in kg")
        positive(self.swath_m, f"the swath of {self.name} in m")
        if self.measured_gm2 is not None:
            positive(self.measured_gm2, f"what {self.name} puts down in g/m2")


UNITS = ("L", "kg")
BASES = ("w/w", "w/v")


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Something put on turf, and what its label says. The label itself is the law, not these figures."""

    name: str
    unit: str
    """`L` or `kg`: the unit of the product and of its rates."""
    rate_per_ha: float
    """In that unit per hectare. 10 kg/ha is 1 g/m2."""
    most_per_ha: float | None = None
    """The label's highest rate; None when not known."""
    form: str = "soluble"
    """How it is mixed; the forms are listed in words.MIXING_ORDER. `granular` is spread dry."""
    density_kgl: float | None = None
    analysis_pct: Mapping[str, float] = field(default_factory=dict)
    """Percent of N, P2O5, K2O, Fe and so on."""
    basis: str = "w/w"
    """Whether those percents are by weight (`w/w`) or grams in 100 mL (`w/v`)."""
    volume_lha: Range = field(default_factory=Range)
    pressure_bar: Range = field(default_factory=Range)
    speed_kmh: Range = field(default_factory=Range)
    needs_licence: bool = False
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise InputError(f'The unit of {self.name} is "{self.unit}"; allowed: {", ".join(UNITS)}.')
        if self.basis not in BASES:
            raise InputError(f'The basis of {self.name} is "{self.basis}"; allowed: {", ".join(BASES)}.')
        if self.basis == "w/v" and self.unit != "L":
            raise InputError(f"{self.name} is measured in kg, so its percents are by weight. Write w/w.")
        positive(self.rate_per_ha, f"the rate of {self.name} per hectare")
        if self.density_kgl is not None:
            positive(self.density_kgl, f"the density of {self.name} in kg/L")
        if self.most_per_ha is not None and self.rate_per_ha > positive(self.most_per_ha, "the highest rate"):
            raise InputError(
                f"The rate of {self.name} is {self.rate_per_ha:g} {self.unit}/ha, above the label's highest "
                f"of {self.most_per_ha:g}. Lower it."
            )
        for nutrient, percent in self.analysis_pct.items():
            if not 0.0 <= percent <= 100.0:
                raise InputError(f"{self.name} holds {percent} % {nutrient}; 0 to 100 is possible.")


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
    interval_d: float | None = None
    """Days between two uses."""
    buffer_m: float | None = None
    """Untreated strip beside water."""
    mixes_with: tuple[str, ...] = ()
    """Names of materials that may share its tank."""

    def may_mix(self, other: Stocked) -> bool:
        """Whether the two may share a tank: one of them says so."""
        return other.name in self.mixes_with or self.name in other.mixes_with

    @property
    def name(self) -> str:
        """Its name in commands and in the diary."""
        return self.material.name
