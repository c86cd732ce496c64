"""What a rate of product brings of each nutrient."""

from __future__ import annotations

from planner.errors import InputError
from planner.mix.formulas import positive
from planner.mix.kit import Material

#: Standard atomic weights (IUPAC, abridged).
_OXYGEN, _PHOSPHORUS, _POTASSIUM = 15.999, 30.974, 39.098
P_IN_P2O5 = 2 * _PHOSPHORUS / (2 * _PHOSPHORUS + 5 * _OXYGEN)
K_IN_K2O = 2 * _POTASSIUM / (2 * _POTASSIUM + _OXYGEN)
_ELEMENT = {"P2O5": ("P", P_IN_P2O5), "K2O": ("K", K_IN_K2O)}


def nutrient_kgha(per_ha: float, unit: str, percent: float, basis: str, density_kgl: float | None) -> float:
    """Kilograms of a nutrient per hectare.

    By weight (w/w), a volume of product is turned to weight by its density; grams in 100 mL (w/v) need none.
    """
    positive(per_ha, "the rate per hectare")
    if unit == "kg" or basis == "w/v":
        return per_ha * percent / 100.0
    if density_kgl is None:
        raise InputError(
            "The percents are by weight and the product is measured in litres, so its density is needed. "
            "Read density_kgl off the label or weigh a litre."
        )
    return per_ha * positive(density_kgl, "the density in kg/L") * percent / 100.0


def nutrients_gm2(material: Material, per_ha: float | None = None) -> dict[str, float]:
    """Grams per square metre of each nutrient named in the analysis; P and K beside their oxides."""
    rate = material.rate_per_ha if per_ha is None else per_ha
    brings: dict[str, float] = {}
    for nutrient, percent in material.analysis_pct.items():
        grams = nutrient_kgha(rate, material.unit, percent, material.basis, material.density_kgl) / 10.0
        brings[nutrient] = grams
        if nutrient in _ELEMENT:
            element, share = _ELEMENT[nutrient]
            brings[element] = brings.get(element, 0.0) + grams * share
    return brings
