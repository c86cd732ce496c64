"""The rules file: groups of needs, jobs that use them, and a site's own changes laid over both."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from planner.config.faults import nearest, not_a_setting, unknown
from planner.config.gaps import GapRow, needs_of
from planner.config.kit_schema import YesNo
from planner.config.names import SURFACE_KINDS
from planner.config.need_layers import Known, Layer
from planner.config.sheet import Path, Sheet, rows, table, word, words
from planner.rules.job import Job


class Group(BaseModel):
    """Needs and cautions that several jobs share."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    needs: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()


class JobTable(BaseModel):
    """A job as written in the rules file."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    label: str
    kind: str
    surfaces: tuple[str, ...] = Field(min_length=1)
    duration_min: float = Field(gt=0, le=24 * 60)
    has_label: YesNo = False
    uses: tuple[str, ...] = Field(default=(), description="Groups whose needs and cautions apply.")
    drop: tuple[str, ...] = Field(default=(), description="Ids of group needs that do not apply.")
    needs: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()
    why: str = ""


class RulesFile(BaseModel):
    """A whole rules file."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    groups: dict[str, Group] = {}
    gaps: tuple[GapRow, ...] = Field(default=(), description="Time that one job must leave another.")
    jobs: dict[str, JobTable]


#: Settings of a job that a site may change; needs are changed one by one.
_SETTINGS = tuple(name for name in JobTable.model_fields if name not in ("uses", "drop", "needs", "cautions"))
_CHANGES = (*_SETTINGS, "needs", "on", "off")


class Rules:
    """A rules file being read, with the changes of a site; faults go onto the sheets of both files."""

    def __init__(
        self,
        values: dict[str, Any],
        sheet: Sheet,
        changes: Mapping[str, Any],
        site_sheet: Sheet,
        surfaces: Mapping[str, str] | None,
    ) -> None:
        """`surfaces`: name of each surface of the site -> its kind; None where that is not surely known."""
        self._values, self._sheet = values, sheet
        self._changes, self._site_sheet = changes, site_sheet
        self._surfaces = surfaces
        self.names: tuple[str, ...] = tuple(table(values, "jobs"))
        kinds = {word(row, "kind") for row in (*table(values, "jobs").values(), *changes.values())}
        self._known = Known(
            works={*self.names, *(kind for kind in kinds if kind)},
            places=None if surfaces is None else list(dict.fromkeys([*surfaces, *SURFACE_KINDS])),
        )
        self._groups: dict[str, dict[str, Layer]] = {}
        self._gaps: dict[int, GapRow] = {}
        self._gap_faults = False

    def jobs(self) -> tuple[Job, ...]:
        """The jobs that could be read; all of them when no sheet has a fault."""
        self._check_top()
        for name, group in table(self._values, "groups").items():
            self._sheet.checked(Group, group, ("groups", name))
            self._groups[name] = self._written(group, ("groups", name, "needs"))
            for layer in self._groups[name].values():
                layer.need(self._known)
        before = len(self._sheet.faults)
        self._read_gaps()
        self._gap_faults = len(self._sheet.faults) > before
        for name in self._changes:
            if name not in self.names:
                near = nearest(name, self.names)
                self._site_sheet.add(
                    ("jobs", name),
                    f"is not a job of {self._sheet.file}.{near} Known: {', '.join(self.names)}.",
                )
        made = [self._job(name, row) for name, row in table(self._values, "jobs").items()]
        return tuple(job for job in made if job is not None)

    def _check_top(self) -> None:
        for key in self._values:
            if key not in RulesFile.model_fields:
                self._sheet.add((key,), not_a_setting(key, RulesFile.model_fields))
        for key in ("groups", "jobs"):
            if key in self._values and not isinstance(self._values[key], dict):
                self._sheet.add((key,), "must be a table of settings")
        if "jobs" not in self._values:
            self._sheet.add(("jobs",), "is missing: a rules file must have at least one job")

    def _read_gaps(self) -> None:
        written = self._values.get("gaps", [])
        if not isinstance(written, list):
            self._sheet.add(("gaps",), "must be entries under [[gaps]]")
            return
        for number, values in enumerate(written):
            row = self._sheet.checked(GapRow, values, ("gaps", number))
            if row is not None:
                self._gaps[number] = row
            for key in ("done", "next"):
                for name in words(values, key):
                    if name not in self._known.works:
                        near = nearest(name, self._known.works)
                        self._sheet.add(
                            ("gaps", number, key), f'no job or kind of job is called "{name}".{near}'
                        )
                        self._gaps.pop(number, None)

    def _written(self, owner: Any, path: Path) -> dict[str, Layer]:
        layers: dict[str, Layer] = {}
        for number, values in rows(owner, "needs"):
            place = (*path, number)
            need_id = values.get("id") or ("allowed_hours" if values.get("kind") == "clock" else None)
            if isinstance(need_id, str):
                layers[need_id] = Layer({**values, "id": need_id}, self._sheet, place)
            else:
                self._sheet.add(place, "a need must have an id, a short name in quotes")
        return layers

    def _job(self, name: str, row: Any) -> Job | None:
        parsed = self._sheet.checked(JobTable, row, ("jobs", name))
        layers, cautions, whole = self._gathered(name, row)
        change = self._changes.get(name, {})
        settings = self._changed(name, row, parsed, change)
        surfaces = words(settings, "surfaces")
        self._check_surfaces(name, row, change)
        self._patch(layers, change.get("needs", {}), ("jobs", name, "needs"), None, whole)
        per_surface = change.get("on", {})
        if not isinstance(per_surface, Mapping):
            self._site_sheet.add(("jobs", name, "on"), "must be tables by the name of a surface")
            per_surface = {}
        for surface, part in per_surface.items():
            self._on_surface(layers, surface, part, ("jobs", name, "on", surface), surfaces, whole)
        needs = [layer.need(self._known) for layer in layers.values()]
        if not layers and whole:
            self._sheet.add(("jobs", name), "has no need at all: give one, or a group to use")
        sound = [need for need in needs if need is not None]
        if parsed is None or not sound or self._sheet.faults or self._site_sheet.faults:
            return None
        cautions += [caution for caution in parsed.cautions if caution not in cautions]
        off = change.get("off", False)
        own = {key: settings[key] for key in _SETTINGS if key in settings}
        return Job.model_validate(
            {"name": name, "needs": tuple(sound), "cautions": tuple(cautions), "off": off, **own}
        )

    def _gathered(self, name: str, row: Any) -> tuple[dict[str, Layer], list[str], bool]:
        """Needs of a job by id, cautions of its groups, and whether no need is missed for a fault elsewhere."""
        layers: dict[str, Layer] = {}
        cautions: list[str] = []
        whole = isinstance(row, dict) and _is_tables(row.get("needs", []))
        for group_name in words(row, "uses"):
            group = table(self._values, "groups").get(group_name)
            if group is None:
                known = table(self._values, "groups")
                self._sheet.add(("jobs", name, "uses"), unknown("group", group_name, known))
                whole = False
                continue
            whole = whole and _is_tables(group.get("needs", []) if isinstance(group, dict) else None)
            cautions += [one for one in words(group, "cautions") if one not in cautions]
            layers |= self._groups[group_name]
        whole = whole and not self._gap_faults
        kind = word(row, "kind") or ""
        numbers = list(self._gaps)
        for index, values in needs_of(self._gaps.values(), name, kind):
            layers[values["id"]] = Layer(values, self._sheet, ("gaps", numbers[index]))
        for dropped in words(row, "drop"):
            if layers.pop(dropped, None) is None and whole:
                self._sheet.add(("jobs", name, "drop"), unknown("group need", dropped, layers))
        return layers | self._written(row, ("jobs", name, "needs")), cautions, whole

    def _changed(
        self, name: str, row: Any, parsed: JobTable | None, change: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Settings of the job with the site's changes."""
        given = {key: value for key, value in change.items() if key in _SETTINGS}
        for key in change:
            if key not in _CHANGES:
                self._site_sheet.add(("jobs", name, key), not_a_setting(key, _CHANGES))
        if not isinstance(change.get("off", False), bool):
            self._site_sheet.add(
                ("jobs", name, "off"), f"must be true or false, without quotes (seen: {change['off']!r})"
            )
        merged = {**(row if isinstance(row, dict) else {}), **given}
        if given:
            try:
                JobTable.model_validate(merged)
            except ValidationError as error:
                self._site_sheet.absorb(
                    error, JobTable, ("jobs", name), lambda place: bool(place) and place[0] in given
                )
        return merged

    def _check_surfaces(self, name: str, row: Any, change: Mapping[str, Any]) -> None:
        places = self._known.places
        for sheet, values in ((self._sheet, row), (self._site_sheet, change)):
            for surface in words(values, "surfaces"):
                if places is not None and surface not in places:
                    sheet.add(
                        ("jobs", name, "surfaces"), unknown("surface or kind of surface", surface, places)
                    )

    def _on_surface(
        self, layers: dict[str, Layer], surface: str, part: Any, path: Path, worked: list[str], whole: bool
    ) -> None:
        sheet, places = self._site_sheet, self._known.places
        if not isinstance(part, Mapping):
            sheet.add(path, "must be a table with needs")
            return
        if places is not None and surface not in places:
            sheet.add(path, unknown("surface or kind of surface", surface, places))
        elif self._surfaces is not None and worked and not self._meets(surface, worked):
            sheet.add(path, f"has no effect: the job is not done there, but on {', '.join(worked)}.")
        for key in part:
            if key != "needs":
                sheet.add((*path, key), "cannot be changed for one surface: only needs can")
        self._patch(layers, part.get("needs", {}), (*path, "needs"), surface, whole)

    def _meets(self, surface: str, worked: list[str]) -> bool:
        return any(
            surface in (name, kind) and (name in worked or kind in worked)
            for name, kind in (self._surfaces or {}).items()
        )

    def _patch(
        self, layers: dict[str, Layer], patches: Any, path: Path, only: str | None, whole: bool
    ) -> None:
        sheet = self._site_sheet
        if not isinstance(patches, Mapping):
            sheet.add(path, "must be tables by the id of a need")
            return
        for need_id, values in patches.items():
            place = (*path, need_id)
            before = layers.get(need_id)
            if not isinstance(values, Mapping):
                sheet.add(place, "must be a table of settings")
                continue
            if before is None and "label" not in values:
                if whole:
                    sheet.add(place, unknown("need of this job", need_id, layers))
                continue
            fixed: dict[str, Any] = {} if only is None else {"surfaces": [only], "except_surfaces": []}
            if before is None:
                layer = Layer({**values, **fixed, "id": need_id}, sheet, place)
            else:
                layer = before.over(values, sheet, place, **fixed)
            if only is None:
                layers[need_id] = layer
                continue
            if before is not None:
                layers[need_id] = before.except_on(only)
            layers[f"{need_id} on {only}"] = layer


def _is_tables(needs: Any) -> bool:
    """Whether needs are written so that their ids can be read."""
    return isinstance(needs, list) and all(
        isinstance(need, dict) and (isinstance(need.get("id"), str) or need.get("kind") == "clock")
        for need in needs
    )
