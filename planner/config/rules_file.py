"""The rules file: groups of needs, jobs that use them, and a site's own changes laid over both."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from planner.config.faults import faults_of, nearest, where
from planner.config.lines import line_of, read_toml
from planner.errors import ConfigError, Fault
from planner.rules import AnyNeed
from planner.rules.job import Job

_NEED: TypeAdapter[Any] = TypeAdapter(AnyNeed)


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
    has_label: bool = False
    uses: tuple[str, ...] = Field(default=(), description="Groups whose needs and cautions apply.")
    drop: tuple[str, ...] = Field(default=(), description="Ids of group needs that do not apply.")
    needs: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()
    why: str = ""


class RulesFile(BaseModel):
    """A whole rules file."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    groups: dict[str, Group] = {}
    jobs: dict[str, JobTable]


@dataclass(slots=True)
class _Sheet:
    """Faults gathered while reading, per file."""

    file: str
    text: str
    faults: list[Fault] = field(default_factory=list)

    def add(self, path: tuple[str | int, ...], says: str) -> None:
        self.faults.append(Fault(where(path), says, line_of(self.text, path)))


@dataclass(slots=True)
class _Raw:
    """One need as it stands after merging, and where it was written."""

    values: dict[str, Any]
    sheet: _Sheet
    path: tuple[str | int, ...]


def read_rules(
    text: str,
    file: str,
    *,
    quantities: Iterable[str],
    changes: Mapping[str, Mapping[str, Any]] | None = None,
    changes_text: str = "",
    changes_file: str = "",
) -> tuple[Job, ...]:
    """All jobs of a rules file, a site's changes laid over them. ConfigError with every fault found."""
    sheet = _Sheet(file, text)
    site_sheet = _Sheet(changes_file, changes_text)
    try:
        parsed = RulesFile.model_validate(read_toml(text, file))
    except ValidationError as error:
        raise ConfigError(file, faults_of(error, text, RulesFile)) from error
    changes = changes or {}
    for name in changes:
        if name not in parsed.jobs:
            site_sheet.add(("jobs", name), f"is not a job of {file}.{nearest(name, parsed.jobs)}")
    known = set(quantities)
    jobs = []
    for name, table in parsed.jobs.items():
        job = _job(name, table, parsed, sheet, site_sheet, dict(changes.get(name, {})), known)
        if job is not None:
            jobs.append(job)
    names = {job.name for job in jobs} | {job.kind for job in jobs}
    _check_gaps(jobs, names, sheet)
    for found in (sheet, site_sheet):
        if found.faults:
            raise ConfigError(found.file, found.faults)
    return tuple(jobs)


def _job(
    name: str,
    table: JobTable,
    rules: RulesFile,
    sheet: _Sheet,
    site_sheet: _Sheet,
    change: dict[str, Any],
    known: set[str],
) -> Job | None:
    raws: dict[str, _Raw] = {}
    cautions: list[str] = []
    for group_name in table.uses:
        group = rules.groups.get(group_name)
        if group is None:
            sheet.add(
                ("jobs", name, "uses"),
                f'there is no group "{group_name}".{nearest(group_name, rules.groups)}',
            )
            continue
        cautions += [caution for caution in group.cautions if caution not in cautions]
        _gather(raws, group.needs, sheet, ("groups", group_name, "needs"))
    for dropped in table.drop:
        if raws.pop(dropped, None) is None:
            sheet.add(
                ("jobs", name, "drop"), f'no group need has the id "{dropped}".{nearest(dropped, raws)}'
            )
    _gather(raws, table.needs, sheet, ("jobs", name, "needs"))
    settings = _changed(name, table, raws, change, site_sheet)
    needs = [need for raw in raws.values() if (need := _need(raw, known)) is not None]
    cautions += [caution for caution in table.cautions if caution not in cautions]
    if not needs:
        sheet.add(("jobs", name), "has no need that can be read")
        return None
    try:
        return Job(name=name, needs=tuple(needs), cautions=tuple(cautions), **settings)
    except ValidationError as error:
        site_sheet.faults += faults_of(error, site_sheet.text, Job, ("jobs", name))
        return None


def _gather(
    raws: dict[str, _Raw], needs: Iterable[dict[str, Any]], sheet: _Sheet, path: tuple[str | int, ...]
) -> None:
    for number, values in enumerate(needs):
        place = (*path, number)
        need_id = values.get("id") or ("allowed_hours" if values.get("kind") == "clock" else None)
        if not isinstance(need_id, str):
            sheet.add(place, "a need must have an id")
            continue
        raws[need_id] = _Raw(dict(values, id=need_id), sheet, place)


def _changed(
    name: str, table: JobTable, raws: dict[str, _Raw], change: dict[str, Any], sheet: _Sheet
) -> dict[str, Any]:
    """Settings of the job with the site's changes."""
    settings = table.model_dump(exclude={"uses", "drop", "needs", "cautions"})
    settings["off"] = change.pop("off", False)
    _patch(raws, change.pop("needs", {}), sheet, ("jobs", name, "needs"), only=None)
    for surface, part in change.pop("on", {}).items():
        path = ("jobs", name, "on", surface)
        extra = set(part) - {"needs"}
        if extra:
            sheet.add(path, f"only needs can be changed per surface, not {', '.join(sorted(extra))}")
        _patch(raws, part.get("needs", {}), sheet, (*path, "needs"), only=surface)
    for key, value in change.items():
        if key not in settings:
            sheet.add(
                ("jobs", name, key),
                f"is not a setting of a job.{nearest(key, [*settings, 'needs', 'on', 'off'])}",
            )
        else:
            settings[key] = value
    return settings


def _patch(
    raws: dict[str, _Raw],
    patches: Mapping[str, Any],
    sheet: _Sheet,
    path: tuple[str | int, ...],
    only: str | None,
) -> None:
    for need_id, values in patches.items():
        if not isinstance(values, Mapping):
            sheet.add((*path, need_id), "must be a table of settings")
            continue
        before = raws.get(need_id)
        if before is None and "label" not in values:
            sheet.add((*path, need_id), f"the job has no such need.{nearest(need_id, raws)}")
            continue
        merged = {**(before.values if before else {}), **values, "id": need_id}
        if only is None:
            raws[need_id] = _Raw(merged, sheet, (*path, need_id))
            continue
        if before is not None:
            before.values["except_surfaces"] = [*before.values.get("except_surfaces", ()), only]
        merged["surfaces"] = [only]
        merged["except_surfaces"] = []
        raws[f"{need_id} on {only}"] = _Raw(merged, sheet, (*path, need_id))


def _need(raw: _Raw, known: set[str]) -> Any:
    try:
        need = _NEED.validate_python(raw.values)
    except ValidationError as error:
        fields = type("_Fields", (BaseModel,), {"__annotations__": {"need": AnyNeed}})
        raw.sheet.faults += faults_of(error, raw.sheet.text, fields, raw.path)
        return None
    quantity = getattr(need, "quantity", None)
    if quantity is not None and quantity not in known:
        raw.sheet.add(
            (*raw.path, "quantity"), f'"{quantity}" is not a quantity we know.{nearest(quantity, known)}'
        )
        return None
    return need


def _check_gaps(jobs: list[Job], names: set[str], sheet: _Sheet) -> None:
    for job in jobs:
        for need in job.needs:
            for other in getattr(need, "other", ()):
                if other not in names:
                    sheet.add(
                        ("jobs", job.name),
                        f'need "{need.id}": no job or kind is called "{other}".{nearest(other, names)}',
                    )
