"""A site file for a case: the shipped rules and materials, one or two surfaces, and what the keeper tells.

Both places are invented. Surfaces are those of a small green: sand under the green and the collar, loam elsewhere.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.made import ROOT

Row = Mapping[str, Any]

#: Invented places; if they exist it is chance.
NORTH: Row = {
    "name": "Thistlewick Vale",
    "latitude_deg": 51.62,
    "longitude_deg": -2.21,
    "elevation_m": 118,
    "timezone": "Europe/London",
}
SOUTH: Row = {
    "name": "Quollbrook Flat",
    "latitude_deg": -37.4,
    "longitude_deg": 144.9,
    "elevation_m": 160,
    "timezone": "Australia/Melbourne",
}
#: As far east as the north place is near the meridian: for cases whose decision must not hang on the zone.
INLAND: Row = {
    "name": "Mossgarth Hollow",
    "latitude_deg": 47.9,
    "longitude_deg": -91.3,
    "elevation_m": 390,
    "timezone": "America/Chicago",
}

_KINDS: Mapping[str, Row] = {
    "green": {"area_m2": 350, "grass": "creeping_bent", "cut_height_mm": 4, "slope_pct": 2, "soil": "sand"},
    "collar": {"area_m2": 110, "grass": "bent_fescue", "cut_height_mm": 8, "slope_pct": 3, "soil": "sand"},
    "apron": {
        "area_m2": 90,
        "grass": "perennial_ryegrass",
        "cut_height_mm": 15,
        "slope_pct": 3,
        "soil": "loam",
    },
    "surround": {"area_m2": 400, "grass": "fescue", "cut_height_mm": 25, "slope_pct": 3, "soil": "loam"},
    "tee": {
        "area_m2": 60,
        "grass": "perennial_ryegrass",
        "cut_height_mm": 12,
        "slope_pct": 1,
        "soil": "loam",
    },
    "rough": {"area_m2": 900, "grass": "fescue", "cut_height_mm": 60, "slope_pct": 3, "soil": "loam"},
}

#: Two materials of a keeper who has read both labels and made the jar test: they may share a tank.
SHED = """
[[materials]]
name = "leaf feed in the shed"
jobs = ["foliar_feed"]
unit = "L"
rate_per_ha = 20
form = "soluble"
density_kgl = 1.2
analysis_pct = { N = 10 }
rainfast_h = 4
mixes_with = ["regulator in the shed"]

[[materials]]
name = "regulator in the shed"
jobs = ["growth_regulator"]
unit = "L"
rate_per_ha = 1.0
form = "emulsion"
rainfast_h = 4
lasts_degree_days = 200
"""


def surface(kind: str, name: str = "", **told: Any) -> dict[str, Any]:
    """A surface of that kind, called by its kind where no name is given."""
    return {"name": name or kind, "kind": kind, **_KINDS[kind], **told}


def _value(told: Any) -> str:
    if isinstance(told, bool):
        return "true" if told else "false"
    if isinstance(told, datetime):
        return told.isoformat()
    if isinstance(told, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(value)}" for key, value in told.items()) + " }"
    if isinstance(told, (list, tuple)):
        return "[" + ", ".join(_value(one) for one in told) + "]"
    return json.dumps(told, ensure_ascii=False)


def _table(head: str, row: Row) -> str:
    return "\n".join([head, *(f"{key} = {_value(value)}" for key, value in row.items())]) + "\n"


def write_site(
    folder: Path,
    surfaces: Sequence[Row],
    *,
    place: Row = NORTH,
    jobs: Sequence[str] = (),
    hours: Row | None = None,
    tables: Mapping[str, Row] | None = None,
    materials: str = "",
    **rows: Sequence[Row],
) -> Path:
    """The site file in `folder`. `rows` are arrays of tables by their key: wanted, play, done, sown, readings…

    `jobs` are the keeper's own; `hours` the keeper's working hours; `tables` other single tables by their
    head, as {"week": {...}}; `materials` is put below the shipped materials file.
    """
    kept = ROOT / "config" / "materials.toml"
    if materials:
        (folder / "materials.toml").write_text(kept.read_text(encoding="utf-8") + "\n" + materials)
        kept = folder / "materials.toml"
    parts = [f"rules = {_value(str(ROOT / 'config' / 'rules.toml'))}\nmaterials = {_value(str(kept))}\n"]
    parts.append(_table("[site]", {**place, **({"jobs": list(jobs)} if jobs else {})}))
    parts += [_table("[[surfaces]]", row) for row in surfaces]
    if hours is not None:
        parts.append(_table("[hours]", hours))
    parts += [_table(f"[{head}]", row) for head, row in (tables or {}).items()]
    parts += [_table(f"[[{key}]]", row) for key, told in rows.items() for row in told]
    path = folder / "haysel.toml"
    path.write_text("\n".join(parts), encoding="utf-8")
    return path


def told(sky, day, hour, minute=0):
    """A moment of the sky's days as a site file has it: on the site's clock, without an offset."""
    return sky.at(day, hour, minute).replace(tzinfo=None)


def want(sky, job, on, day=5, **more):
    """A job wanted once, by the evening of a day."""
    return [{"job": job, "surface": on, "by": told(sky, day, 18), **more}]


def done(sky, job, on, day, hour=9):
    """A job done on a day."""
    return {"job": job, "surface": on, "at": told(sky, day, hour)}
