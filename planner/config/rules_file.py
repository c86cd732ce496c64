"""The rules files: groups of needs, jobs that use them, and a site's own changes to both.

Files are read in order. A job or a group of a later file stands in place of the one of that name, a gap in place
of the one with that id; what is new is added. So the shipped file is never edited, and each fault is told in the
file that it stands in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import Field, ValidationError

from planner.config.faults import FaultList, Path, nearest, not_a_setting, rows, table, unknown, word, words
from planner.config.kit_schema import Part
from planner.config.need_layers import GapRow, Known, Layer, needs_of
from planner.config.schema import SURFACE_KINDS
from planner.rules.base import YesNo
from planner.rules.job import Job
from planner.terms import PLAY, PLAY_NEARBY


class Group(Part):
    """Needs and cautions that several jobs share."""

    needs: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()


class JobTable(Part):
    """A job as written in the rules file."""

    label: str
    kind: str
    surfaces: tuple[str, ...] = Field(min_length=1)
    duration_min: float = Field(gt=0, le=24 * 60)
    has_label: YesNo = False
    same_day_after: tuple[str, ...] = Field(
        default=(), description="Jobs or kinds that come first where both fall on one day."
    )
    before_play_d: tuple[float, float] | None = Field(
        default=None, description="[from, to] days before a play day that are best for it."
    )
    on_play_morning: YesNo = Field(
        default=False, description="Where it is wanted at all, it is wanted on the morning of a play day."
    )
    uses: tuple[str, ...] = Field(default=(), description="Groups whose needs and cautions apply.")
    drop: tuple[str, ...] = Field(default=(), description="Ids of group needs that do not apply.")
    needs: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()
    why: str = ""


class RulesFile(Part):
    """A whole rules file."""

    groups: dict[str, Group] = {}
    gaps: tuple[GapRow, ...] = Field(default=(), description="Time that one job must leave another.")
    jobs: dict[str, JobTable] = {}


#: Settings of a job that a site may change; needs are changed one by one.
_SETTINGS = tuple(name for name in JobTable.model_fields if name not in ("uses", "drop", "needs", "cautions"))
_CHANGES = (*_SETTINGS, "needs", "on", "off")


@dataclass(frozen=True, slots=True)
class Written:
    """A rules file as it is written, with its list of faults."""

    values: dict[str, object]
    faults: FaultList


class Rules:
    """Rules files being read, with the changes of a site; faults go onto the lists of the files they stand in."""

    def __init__(
        self,
        files: Sequence[Written],
        changes: Mapping[str, object],
        site_faults: FaultList,
        surfaces: Mapping[str, str] | None,
    ) -> None:
        """`surfaces`: name of each surface of the site -> its kind; None where that is not surely known."""
        self._files = files
        self._changes, self._site_faults = changes, site_faults
        self._surfaces = surfaces
        # Of each name the last file that has it decides.
        self._jobs = {name: file for file in files for name in table(file.values, "jobs")}
        self._group_files = {name: file for file in files for name in table(file.values, "groups")}
        self.names: tuple[str, ...] = tuple(self._jobs)
        kinds = {word(row, "kind") for row in (*self._job_rows().values(), *changes.values())}
        self._known = Known(
            works={*self.names, *(kind for kind in kinds if kind), PLAY, PLAY_NEARBY},
            places=None if surfaces is None else list(dict.fromkeys([*surfaces, *SURFACE_KINDS])),
        )
        self._groups: dict[str, dict[str, Layer]] = {}
        self._gaps: dict[str, tuple[GapRow, FaultList, Path]] = {}
        self._gap_faults = False

    def _job_rows(self) -> dict[str, object]:
        return {name: table(file.values, "jobs")[name] for name, file in self._jobs.items()}

    def jobs(self) -> tuple[Job, ...]:
        """The jobs that could be read; all of them when no list has a fault."""
        for file in self._files:
            self._check_top(file)
        for name, file in self._group_files.items():
            group = table(file.values, "groups")[name]
            file.faults.checked(Group, group, ("groups", name))
            self._groups[name] = self._written(group, file.faults, ("groups", name, "needs"))
            for layer in self._groups[name].values():
                layer.need(self._known)
        for file in self._files:
            before = len(file.faults.faults)
            self._read_gaps(file)
            self._gap_faults = self._gap_faults or len(file.faults.faults) > before
        for name in self._changes:
            if name not in self.names:
                near = nearest(name, self.names)
                self._site_faults.add(
                    ("jobs", name),
                    f"is not a job of {' or '.join(file.faults.file for file in self._files)}.{near} "
                    f"Known: {', '.join(self.names)}.",
                )
        made = [self._job(name, row, self._jobs[name].faults) for name, row in self._job_rows().items()]
        return tuple(job for job in made if job is not None)

    def _check_top(self, file: Written) -> None:
        for key in file.values:
            if key not in RulesFile.model_fields:
                file.faults.add((key,), not_a_setting(key, RulesFile.model_fields))
        for key in ("groups", "jobs"):
            if key in file.values and not isinstance(file.values[key], dict):
                file.faults.add((key,), "must be a table of settings")
        if file is self._files[0] and not any("jobs" in one.values for one in self._files):
            file.faults.add(("jobs",), "is missing: a rules file must have at least one job")

    def _read_gaps(self, file: Written) -> None:
        written = file.values.get("gaps", [])
        if not isinstance(written, list):
            file.faults.add(("gaps",), "must be entries under [[gaps]]")
            return
        for number, values in enumerate(written):
            path: Path = ("gaps", number)
            row = file.faults.checked(GapRow, values, path)
            unknown_names = [
                (key, name)
                for key in ("done", "next")
                for name in words(values, key)
                if name not in self._known.works
            ]
            for key, name in unknown_names:
                near = nearest(name, self._known.works)
                file.faults.add((*path, key), f'no job or kind of job is called "{name}".{near}')
            if row is not None and self._gaps.get(row.id, (row, None))[1] is file.faults:
                file.faults.add((*path, "id"), f'"{row.id}" is given twice')
            elif row is not None and not unknown_names:
                self._gaps[row.id] = (row, file.faults, path)

    def _written(self, owner: object, faults: FaultList, path: Path) -> dict[str, Layer]:
        layers: dict[str, Layer] = {}
        for number, values in rows(owner, "needs"):
            place = (*path, number)
            need_id = values.get("id") or ("allowed_hours" if values.get("kind") == "clock" else None)
            if isinstance(need_id, str):
                layers[need_id] = Layer({**values, "id": need_id}, faults, place)
            else:
                faults.add(place, "a need must have an id, a short name in quotes")
        return layers

    def _job(self, name: str, row: object, faults: FaultList) -> Job | None:
        parsed = faults.checked(JobTable, row, ("jobs", name))
        layers, cautions, whole = self._gathered(name, row, faults)
        change = table(self._changes, name)
        settings = self._changed(name, row, parsed, change)
        surfaces = words(settings, "surfaces")
        self._check_surfaces(name, row, faults, change)
        self._patch(layers, change.get("needs", {}), ("jobs", name, "needs"), None, whole)
        per_surface = change.get("on", {})
        if not isinstance(per_surface, Mapping):
            self._site_faults.add(("jobs", name, "on"), "must be tables by the name of a surface")
            per_surface = {}
        for surface, part in per_surface.items():
            self._on_surface(layers, surface, part, ("jobs", name, "on", surface), surfaces, whole)
        needs = [layer.need(self._known) for layer in layers.values()]
        if not layers and whole:
            faults.add(("jobs", name), "has no need at all: give one, or a group to use")
        sound = [need for need in needs if need is not None]
        if (
            parsed is None
            or not sound
            or self._site_faults.faults
            or any(one.faults.faults for one in self._files)
        ):
            return None
        cautions += [caution for caution in parsed.cautions if caution not in cautions]
        off = change.get("off", False)
        own = {key: settings[key] for key in _SETTINGS if key in settings}
        return Job.model_validate(
            {"name": name, "needs": tuple(sound), "cautions": tuple(cautions), "off": off, **own}
        )

    def _gathered(
        self, name: str, row: object, faults: FaultList
    ) -> tuple[dict[str, Layer], list[str], bool]:
        """Needs of a job by id, cautions of its groups, and whether no need is missed for a fault elsewhere."""
        layers: dict[str, Layer] = {}
        cautions: list[str] = []
        whole = isinstance(row, dict) and _is_tables(row.get("needs", []))
        for group_name in words(row, "uses"):
            file = self._group_files.get(group_name)
            if file is None:
                faults.add(("jobs", name, "uses"), unknown("group", group_name, self._group_files))
                whole = False
                continue
            group = table(file.values, "groups")[group_name]
            whole = whole and _is_tables(group.get("needs", []) if isinstance(group, dict) else None)
            cautions += [one for one in words(group, "cautions") if one not in cautions]
            layers |= self._groups[group_name]
        whole = whole and not self._gap_faults
        kind = word(row, "kind") or ""
        gaps = list(self._gaps.values())
        for index, values in needs_of((gap for gap, _, _ in gaps), name, kind):
            layers[str(values["id"])] = Layer(values, *gaps[index][1:])
        for dropped in words(row, "drop"):
            if layers.pop(dropped, None) is None and whole:
                faults.add(("jobs", name, "drop"), unknown("group need", dropped, layers))
        return layers | self._written(row, faults, ("jobs", name, "needs")), cautions, whole

    def _changed(
        self, name: str, row: object, parsed: JobTable | None, change: Mapping[str, object]
    ) -> dict[str, object]:
        """Settings of the job with the site's changes."""
        own = {key: value for key, value in change.items() if key in _SETTINGS}
        for key in change:
            if key not in _CHANGES:
                self._site_faults.add(("jobs", name, key), not_a_setting(key, _CHANGES))
        if not isinstance(change.get("off", False), bool):
            self._site_faults.add(
                ("jobs", name, "off"), f"must be true or false, without quotes (seen: {change['off']!r})"
            )
        merged = {**(row if isinstance(row, dict) else {}), **own}
        if own:
            try:
                JobTable.model_validate(merged)
            except ValidationError as error:
                self._site_faults.absorb(
                    error, JobTable, ("jobs", name), lambda place: bool(place) and place[0] in own
                )
        return merged

    def _check_surfaces(self, name: str, row: object, own: FaultList, change: Mapping[str, object]) -> None:
        places = self._known.places
        for faults, values in ((own, row), (self._site_faults, change)):
            for surface in words(values, "surfaces"):
                if places is not None and surface not in places:
                    faults.add(
                        ("jobs", name, "surfaces"), unknown("surface or kind of surface", surface, places)
                    )

    def _on_surface(
        self, layers: dict[str, Layer], surface: str, part: object, path: Path, worked: list[str], whole: bool
    ) -> None:
        faults, places = self._site_faults, self._known.places
        if not isinstance(part, Mapping):
            faults.add(path, "must be a table with needs")
            return
        if places is not None and surface not in places:
            faults.add(path, unknown("surface or kind of surface", surface, places))
        elif self._surfaces is not None and worked and not self._meets(surface, worked):
            faults.add(path, f"has no effect: the job is not done there, but on {', '.join(worked)}.")
        for key in part:
            if key != "needs":
                faults.add((*path, key), "cannot be changed for one surface: only needs can")
        self._patch(layers, part.get("needs", {}), (*path, "needs"), surface, whole)

    def _meets(self, surface: str, worked: list[str]) -> bool:
        return any(
            surface in (name, kind) and (name in worked or kind in worked)
            for name, kind in (self._surfaces or {}).items()
        )

    def _patch(
        self, layers: dict[str, Layer], patches: object, path: Path, only: str | None, whole: bool
    ) -> None:
        faults = self._site_faults
        if not isinstance(patches, Mapping):
            faults.add(path, "must be tables by the id of a need")
            return
        for need_id, values in patches.items():
            place = (*path, need_id)
            before = layers.get(need_id)
            if not isinstance(values, Mapping):
                faults.add(place, "must be a table of settings")
                continue
            if before is None and "label" not in values:
                if whole:
                    faults.add(place, unknown("need of this job", need_id, layers))
                continue
            fixed: dict[str, object] = {} if only is None else {"surfaces": [only], "except_surfaces": []}
            if before is None:
                layer = Layer({**values, **fixed, "id": need_id}, faults, place)
            else:
                layer = before.over(values, faults, place, **fixed)
            if only is None:
                layers[need_id] = layer
                continue
            if before is not None:
                layers[need_id] = before.except_on(only)
            layers[f"{need_id} on {only}"] = layer


def _is_tables(needs: object) -> bool:
    """Whether needs are written so that their ids can be read."""
    return isinstance(needs, list) and all(
        isinstance(need, dict) and (isinstance(need.get("id"), str) or need.get("kind") == "clock")
        for need in needs
    )
