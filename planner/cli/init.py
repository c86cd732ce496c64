"""haysel init: a site file of one's own, from a few plain questions."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain, count
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

import click

from planner.cli import asking
from planner.cli.asking import ask, head, say
from planner.cli.running import shipped
from planner.errors import InputError, PlannerError
from planner.reports.shown_units import IMPERIAL, METRIC, System, shown_unit
from planner.site import NEAR_M
from planner.terms import KINDS_OF_JOB, WEEKDAYS, counted, slug

#: Written where no name is given: beside the shipped site file, and no file of the project, so that a new release
#: never meets a change of yours.
DEFAULT_FILE = str(Path("config") / "my_site.toml")
#: Grass, height of cut in mm, soil and slope that are offered for a kind of surface. Judgement.
_USUAL: Mapping[str, tuple[str, float, str, float]] = {
    "green": ("creeping_bent", 4.0, "sand", 2.0),
    "collar": ("bent_fescue", 8.0, "sand", 3.0),
    "apron": ("smooth_stalked_meadow_grass", 15.0, "loam", 5.0),
    "surround": ("fescue", 25.0, "loam", 5.0),
    "tee": ("perennial_ryegrass", 12.0, "loam", 1.0),
    "rough": ("fescue", 50.0, "loam", 3.0),
}
#: Kinds of job that are offered at first; sprays are for the keeper to name.
_OFFERED = {"mowing", "rolling", "seeding", "fertilising"}
#: Cuts in a week that are offered. Judgement.
_CUTS = {"green": 4.0, "tee": 2.0, "collar": 2.0}
#: A clock further from the sun than this is most likely of another place; the widest in use is about 3 h. Judgement.
_ODD_CLOCK_H = 3.5
#: Points of the compass -> degrees from north.
_POINTS = {name: number * 45.0 for number, name in enumerate(("N", "NE", "E", "SE", "S", "SW", "W", "NW"))}
#: Whole numbers on both sides of a comma: two angles, or one with a decimal comma.
_ONE_OR_TWO = re.compile(r"[-+]?\d+,\d+\s*°?\s*[NSns]?")
#: A table of the site file.
Table = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Known:
    """What the answers may name: the jobs of the shipped rules, and the files."""

    rules: Path
    materials: Path
    jobs: Mapping[str, Table]


@click.command()
@click.argument("file", default=DEFAULT_FILE)
@click.option("--overwrite", is_flag=True, help="Write over a file of that name that is there already.")
def init(file: str, overwrite: bool) -> None:
    """A site file of your own: asks place, zone, surfaces and jobs, and writes FILE (config/my_site.toml)."""
    path = Path(file)
    if path.exists() and not overwrite:
        raise InputError(f"{path} is there already. Name another file, or give --overwrite to write over it.")
    if not path.resolve().parent.is_dir():
        raise InputError(f"There is no folder {path.parent}. Make it first, or name a file elsewhere.")
    known = _known()
    say("Press Enter to take what stands in brackets. Nothing is written before the last answer.")
    values = _answers(known, path)
    _write(path, values)
    place = values["site"]
    head(
        f"{path} is written: {place['name']}, {counted(len(values['surfaces']), 'surface')}, "
        f"{counted(len(place['jobs']), 'job')}."
    )
    if "key" in place:
        say(f'The store knows it by [site] key = "{place["key"]}". Keep that as long as there is a diary.')
    say(
        "The weather is that of Open-Meteo, free for non-commercial use. If you are paid to keep this turf, read "
        "docs/weather-services.md first."
    )
    say("Every other key stands there switched off, with what it does. What next:")
    for line in (f"haysel check --config {path}", f"haysel serve --config {path}"):
        click.echo(f"  {line}")
    say("Or set the variable HAYSEL_CONFIG to this file, and leave --config out.")


def _known() -> _Known:
    from planner.config.light import raw

    rules, materials = shipped("config", "rules.toml"), shipped("config", "materials.toml")
    tables = raw(rules).get("jobs", {})
    assert isinstance(tables, dict)
    return _Known(rules, materials, tables)


def _answers(known: _Known, path: Path) -> Table:
    """The values of the site file."""
    values: Table = {}
    for key, file in (("rules", known.rules), ("materials", known.materials)):
        values[key] = os.path.relpath(file.resolve(), path.resolve().parent).replace(os.sep, "/")
    site = _place()
    if known_by := _key(path, site["name"]):
        site["key"] = known_by
    surfaces = _surfaces(site["units"])
    jobs = _jobs(known.jobs, surfaces)
    values |= {"site": site | {"jobs": jobs}, "surfaces": surfaces}
    if wanted := _wanted(known.jobs, jobs, surfaces):
        values["wanted"] = wanted
    if hours := _hours():
        values["hours"] = hours
    return values


def _key(path: Path, name: str) -> str | None:
    """What the store shall know the site by; None where it may be left out.

    A file that is written over keeps its key, and with it its diary. Beside other site files it is made from the
    name, so that no two write one diary.
    """
    from planner.config.folder import kept_beside
    from planner.config.light import kept_at

    if path.exists():
        try:
            return kept_at(path).site
        except PlannerError:
            # What cannot be read has no key to keep.
            pass
    taken = {kept.site for _, kept in kept_beside(path)}
    if not taken:
        return None
    first = slug(name)[:36]
    return next(
        key for key in chain([first], (f"{first}_{number}" for number in count(2))) if key not in taken
    )


def _place() -> Table:
    from planner.config.schema import SitePart

    head("The place")
    units: System = METRIC
    if ask("Units you read, metric or imperial", asking.one_of((METRIC, IMPERIAL)), METRIC) == IMPERIAL:
        units = IMPERIAL
    name = ask("Name of the place", asking.holding(SitePart, "name", asking.text), "My green")
    while True:
        latitude, longitude = _coordinates()
        zone = ask("Time zone", asking.holding(SitePart, "timezone", asking.text), _system_zone())
        off_h = _off_the_sun_h(zone, longitude)
        if off_h <= _ODD_CLOCK_H:
            break
        say(f"The clock of {zone} is {off_h:.0f} hours off the sun at {longitude:g} degrees east.")
        if ask("Is that right", asking.yes_or_no, "no"):
            break
    sign = shown_unit("m", units).sign
    height = asking.holding(SitePart, "elevation_m", asking.amount("m", units))
    return {
        "name": name,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "elevation_m": ask(f"Height above sea level, {sign}", height),
        "timezone": zone,
        "units": units,
    }


def _coordinates() -> tuple[float, float]:
    """Latitude and longitude; both at once where they are pasted from a map."""
    from planner.config.schema import SitePart

    checked = {
        key: asking.holding(SitePart, key, lambda answer, sides=sides: asking.angle(answer, sides))  # type: ignore[misc]
        for key, sides in (("latitude_deg", "NS"), ("longitude_deg", "EW"))
    }

    def one_or_both(answer: str) -> tuple[float, float | None]:
        if _ONE_OR_TWO.fullmatch(answer):
            raise ValueError(
                f'"{answer}" may be one angle or two. Write one with a point, such as 51.62; two with a blank '
                "between, such as 51.62, -2.21."
            )
        first, comma, second = answer.partition(",")
        latitude = checked["latitude_deg"](first.strip())
        return latitude, checked["longitude_deg"](second.strip()) if comma else None

    latitude, longitude = ask("Latitude, south with a minus (or latitude, longitude)", one_or_both)
    if longitude is None:
        longitude = ask("Longitude, west with a minus", checked["longitude_deg"])
    return latitude, longitude


def _system_zone() -> str:
    """The zone of this machine; empty where it runs on UTC, which is nobody's garden clock but by chance."""
    import tzlocal

    name = str(tzlocal.get_localzone_name() or "")
    return "" if "UTC" in name or "GMT" in name else name


def _off_the_sun_h(zone: str, longitude_deg: float) -> float:
    """Hours between the zone's clock and the sun at that longitude."""
    shift = datetime.now(UTC).astimezone(ZoneInfo(zone)).utcoffset()
    assert shift is not None
    return abs((shift.total_seconds() / 3600.0 - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0)


def _surfaces(units: System) -> list[Table]:
    from planner.indices.grasses import GRASSES

    head("The surfaces: each piece of turf that is kept alike")
    say(f"Grasses: {', '.join(sorted(GRASSES))}.")
    found: list[Table] = []
    while True:
        taken = {one["name"] for one in found}

        def named(answer: str, taken: set[str] = taken) -> str:
            if answer.lower() in ("yes", "no"):
                raise ValueError("Write its name; Enter when there is none.")
            if answer in taken:
                raise ValueError(f'"{answer}" is there already: each surface needs a name of its own.')
            return answer

        first = not found
        question = "Name of a surface" if first else "Another surface; Enter when there is none"
        name = ask(question, named, "green" if first else "")
        if not name:
            return found
        found.append(_surface(name, units))


def _surface(name: str, units: System) -> Table:
    from planner.config.schema import SURFACE_KINDS, Soil, SurfacePart
    from planner.indices.grasses import GRASSES

    def figure(key: str, unit: str, question: str, usual: float | None = None) -> float:
        shown = shown_unit(unit, units)
        read = asking.holding(SurfacePart, key, asking.amount(unit, units))
        default = "" if usual is None else f"{float(shown.number(usual)):g}"
        return ask(f"  {question}, {shown.sign}", read, default)

    likely = next((kind for kind in SURFACE_KINDS if kind in name.lower()), "surround")
    kind = ask(f"  Its kind: {', '.join(SURFACE_KINDS)}", asking.one_of(SURFACE_KINDS), likely)
    grass, cut_mm, soil, slope_pct = _USUAL[kind]
    surface: Table = {
        "name": name,
        "kind": kind,
        "area_m2": figure("area_m2", "m²", "Area"),
        "grass": ask("  Grass", asking.one_of(sorted(GRASSES)), grass),
        "cut_height_mm": figure("cut_height_mm", "mm", "Height of the cut", cut_mm),
        "slope_pct": figure("slope_pct", "%", "Slope, metres of fall on 100 m", slope_pct),
        "soil": ask("  Soil of the root zone", asking.one_of(get_args(Soil)), soil),
    }
    near = shown_unit("m", units).text(NEAR_M, 0)
    if ask(f"  Water, other people's plants, people or bees within {near}", asking.yes_or_no, "no"):
        surface["edges"] = [_edge(units)]
    return surface


def _edge(units: System) -> Table:
    from planner.config.schema import EdgePart

    def bearing(answer: str) -> float:
        return _POINTS[answer.upper()] if answer.upper() in _POINTS else asking.amount("°", units)(answer)

    kinds = get_args(EdgePart.model_fields["kind"].annotation)
    sign = shown_unit("m", units).sign
    return {
        "kind": ask(f"    What is it: {', '.join(kinds)}", asking.one_of(kinds), "water"),
        "name": ask("    What you call it", asking.text, "water"),
        "bearing_deg": ask(
            "    Where it lies from the surface: N, NE, E ... or degrees",
            asking.holding(EdgePart, "bearing_deg", bearing),
        ),
        "distance_m": ask(
            f"    How far, {sign}", asking.holding(EdgePart, "distance_m", asking.amount("m", units))
        ),
    }


def _jobs(known: Mapping[str, Table], surfaces: list[Table]) -> list[str]:
    """The jobs that the keeper does, of those that are meant for these surfaces."""
    here = {word for one in surfaces for word in (one["name"], one["kind"])}
    fitting = [name for name, job in known.items() if here & set(job["surfaces"])]
    order = [*KINDS_OF_JOB, *sorted({known[name]["kind"] for name in fitting} - set(KINDS_OF_JOB))]
    fitting.sort(key=lambda name: order.index(known[name]["kind"]))
    head("The jobs that are meant for these surfaces")
    for number, name in enumerate(fitting, 1):
        click.echo(f"  {number:>2}  {name:<20}{known[name]['label']} ({known[name]['kind']})")
    say(
        "Which of them do you do? Numbers or names, with commas between, or all. The others stay one click away. "
        "A spray is bound by its label, the law of the place and, often, a licence."
    )
    offered = [str(number) for number, name in enumerate(fitting, 1) if known[name]["kind"] in _OFFERED]
    return ask("Jobs", asking.some_of(fitting), ", ".join(offered))


def _wanted(known: Mapping[str, Table], jobs: list[str], surfaces: list[Table]) -> list[Table]:
    """How often each cut is wanted, for the week's order."""
    from planner.config.kit_schema import WantedPart

    def a_week(answer: str) -> float:
        times = asking.amount("", METRIC)(answer)
        return times if times == 0.0 else read(answer)

    read = asking.holding(WantedPart, "times_a_week", asking.amount("", METRIC))
    rows = []
    for job in (name for name in jobs if known[name]["kind"] == "mowing"):
        kind = next(
            one["kind"] for one in surfaces if {one["name"], one["kind"]} & set(known[job]["surfaces"])
        )
        times = ask(
            f"How often a week: {known[job]['label']} (0 for not at all)", a_week, f"{_CUTS.get(kind, 1):g}"
        )
        if times:
            rows.append({"job": job, "times_a_week": times})
    return rows


def _hours() -> Table:
    """The keeper's working hours; empty where the hours of the rules hold alone."""
    from planner.config.kit_schema import HoursPart

    head(
        'Your working hours, such as 06:30-09:30, 16:00-19:30. "any" leaves them to the rules, "none" is no work.'
    )

    def spans(day: str) -> Any:
        def read(answer: str) -> str:
            return (
                answer if answer in ("any", "none") else asking.holding(HoursPart, day, asking.text)(answer)
            )

        return read

    week = ask("Monday to Friday", spans("mon"), "any")
    if week == "any":
        return {}
    weekend = {day: ask(name, spans(day), "none") for day, name in (("sat", "Saturday"), ("sun", "Sunday"))}
    asked = {day: weekend.get(day, week) for day in WEEKDAYS}
    return {day: "00:00-24:00" if said == "any" else said for day, said in asked.items() if said != "none"}


def _write(path: Path, values: Table) -> None:
    """The file, once it has passed the check; a file that is there stays until then."""
    from planner.config.load import load
    from planner.config.new_site import site_text

    draft = path.with_name(f".{path.name}.new")
    try:
        draft.write_text(site_text(values), encoding="utf-8")
        load(draft)
        draft.replace(path)
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error}.") from error
    finally:
        draft.unlink(missing_ok=True)
