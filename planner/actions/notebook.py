"""A notebook of past work, from a table of comma separated values into the diary."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, UUID, uuid5

from typing_extensions import TypedDict

from planner.actions.record_work import entry_of, with_weather
from planner.actions.told import AHEAD, read_as
from planner.config.load import Config
from planner.diary.entry import DiaryInput, Entry
from planner.errors import ConfigError, Fault, InputError

if TYPE_CHECKING:
    from planner.store.store import Store

#: Columns beside date and time that are fields of an entry as they stand.
_TEXTS = ("job", "surface", "kind", "counts_as", "operator", "licence", "notes", "target", "grass")
_NUMBERS = ("water_l", "water_mm", "area_m2", "cover_pct", "cut_height_mm", "leaf_length_mm")
_MEASURED = ("wind_2m_kmh", "wind_dir_deg", "air_temp_c", "rel_humidity_pct", "rain_mm")
_MATERIAL = ("material", "amount", "unit", "rate")
COLUMNS = (
    "date",
    "time",
    *_TEXTS[:2],
    *_MATERIAL,
    *_TEXTS[2:],
    "outcome",
    "outcome_note",
    *_NUMBERS,
    *_MEASURED,
)
_NEEDED = ("date", "job", "surface")
#: Work without a time of day is put here, and marked.
_NOON = time(12)
_AT_NOON = "finished: noon, since the notebook has no time"
#: A notebook longer than this is none.
_MOST_LINES, _MOST_BYTES = 20_000, 50_000_000
_TIME = re.compile(r"^(?P<hour>[01]?\d|2[0-3]):(?P<minute>[0-5]\d)$")
#: Where cells beyond the last column are put.
_BEYOND = ""


class Imported(TypedDict):
    """What came of a notebook."""

    file: str
    lines: int
    added: int
    there_before: int
    """Lines that were imported before."""
    check_only: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A line of the notebook that can be written."""

    key: str
    entry: Entry


def import_notebook(
    file: Path, config: Config, store: Store, now: datetime, *, check_only: bool = False
) -> Imported:
    """Writes every line of the notebook into the diary, each once however often it is imported.

    ConfigError lists every fault with its line, and then nothing is written.
    """
    faults: list[Fault] = []
    lines: list[_Line] = []
    seen: Counter[str] = Counter()
    for number, row in _rows(file):
        try:
            entry = _entry(row, config, now)
        except InputError as error:
            faults.append(Fault(where=_where(row), says=str(error), line=number))
            continue
        said = json.dumps(row, sort_keys=True)
        seen[said] += 1
        # Two lines that say the same are two pieces of work; the same file again has the same two.
        name = f"notebook/{config.site.key}/{seen[said]}/{said}"
        lines.append(_Line(key=str(uuid5(NAMESPACE_URL, name)), entry=entry))
    if faults:
        raise ConfigError(str(file), faults)
    there = {UUID(one.uuid) for one in store.entries(with_withdrawn=True)}
    fresh = [line for line in lines if UUID(line.key) not in there]
    if not check_only:
        for line in fresh:
            store.add_entry(with_weather(line.entry, config, store), now, line.key)
    return Imported(
        file=str(file),
        lines=len(lines),
        added=0 if check_only else len(fresh),
        there_before=len(lines) - len(fresh),
        check_only=check_only,
    )


def _rows(file: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Number and filled cells of each line that says something, by the name of the column."""
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise InputError(f"{file} is longer than {_MOST_BYTES / 1e6:g} MB. Import it in parts.")
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        says = getattr(error, "strerror", None) or "it is not UTF-8"
        raise InputError(f"{file} cannot be read: {says}. Save it as CSV in UTF-8.") from error
    head = text.split("\n", 1)[0]
    sign = ";" if head.count(";") > head.count(",") else ","
    table = _lines(file, text, sign)
    names = [name.strip().lower() for name in next(table, (0, []))[1]]
    lost = [name for name in _NEEDED if name not in names]
    odd = [name for name in names if name not in COLUMNS]
    twice = [name for name, count in Counter(names).items() if count > 1]
    says = [f"the column {name} is missing" for name in lost]
    says += [f'"{name}" is not a column of a notebook' for name in odd]
    says += [f"the column {name} stands twice" for name in twice]
    if says:
        told = f"{'; '.join(says)}. Columns: {', '.join(COLUMNS)}."
        raise ConfigError(str(file), [Fault(where="first line", says=told, line=1)])
    for number, cells in table:
        filled = {name: cell.strip() for name, cell in zip(names, cells, strict=False) if cell.strip()}
        beyond = " ".join(cells[len(names) :]).strip()
        if filled or beyond:
            yield number, filled | ({_BEYOND: beyond} if beyond else {})


def _lines(file: Path, text: str, sign: str) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of each line of the table."""
    table = csv.reader(io.StringIO(text), delimiter=sign)
    try:
        for cells in table:
            if table.line_num > _MOST_LINES:
                raise InputError(f"{file} has more than {_MOST_LINES} lines. Import it in parts.")
            yield table.line_num, cells
    except csv.Error as error:
        where = f"line {table.line_num + 1}"
        raise ConfigError(
            str(file), [Fault(where=where, says=f"is no line of a table ({error}).", line=table.line_num + 1)]
        ) from error


def _where(row: Mapping[str, str]) -> str:
    return ", ".join(row[name] for name in _NEEDED if name in row) or "this line"


def _entry(row: Mapping[str, str], config: Config, now: datetime) -> Entry:
    if _BEYOND in row:
        raise InputError(f'"{row[_BEYOND]}" stands beyond the last column. A cell with a comma needs quotes.')
    lost = [name for name in _NEEDED if name not in row]
    if lost:
        raise InputError(f"has no {' and no '.join(lost)}.")
    at = datetime.combine(_day(row["date"]), _clock(row.get("time")), config.site.zone)
    if "time" not in row and at.date() == now.astimezone(config.site.zone).date():
        # Noon stands for a day without a time, but not before it has come.
        at = min(at, now.astimezone(config.site.zone))
    if at > now + AHEAD:
        raise InputError("is still to come; the diary holds what was done.")
    fields: dict[str, object] = {
        name: row[name] for name in (*_TEXTS, "outcome", "outcome_note") if name in row
    }
    fields["finished"] = at.isoformat()
    fields |= {name: _number(row[name], name) for name in _NUMBERS if name in row}
    measured = {name: _number(row[name], name) for name in _MEASURED if name in row}
    if measured:
        fields["measured"] = measured
    if material := _material(row, config):
        fields["materials"] = [material]
    entry = entry_of(read_as(DiaryInput, fields, "a diary entry"), config, now)
    if "time" not in row:
        entry.document["filled_in"] = [*(entry.document.get("filled_in") or ()), _AT_NOON]
    return entry


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f'"{text}" is not a date. Write 2025-05-07: year, month, day.') from error


def _clock(text: str | None) -> time:
    if text is None:
        return _NOON
    found = _TIME.match(text)
    if found is None:
        raise InputError(f'"{text}" is not a time of day. Write 07:30, on the clock of the site.')
    return time(int(found["hour"]), int(found["minute"]))


def _number(text: str, what: str) -> float:
    if re.fullmatch(r"\d{1,3},\d{3}", text.strip()):
        raise InputError(f'{what} "{text}" can be read in two ways: write {text.replace(",", "")} or 1.5.')
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(f'{what} "{text}" is not a number.') from error


def _material(row: Mapping[str, str], config: Config) -> dict[str, object] | None:
    """The material of the line. A rate is per hectare in the unit, and makes the amount on the area."""
    if "material" not in row:
        given = [name for name in _MATERIAL[1:] if name in row]
        if given:
            raise InputError(f"{' and '.join(given)} of no material: name it, or leave it out.")
        return None
    material: dict[str, object] = {"name": row["material"]}
    if "unit" in row:
        material["unit"] = row["unit"]
    if "amount" in row and "rate" in row:
        raise InputError("has an amount and a rate. Leave one of them out.")
    if "amount" in row:
        material["amount"] = _number(row["amount"], "amount")
    if "rate" in row:
        unit, _, per = row.get("unit", "").partition("/")
        if per not in ("", "ha"):
            raise InputError(f'the rate is in "{row["unit"]}". Write it per hectare, such as L/ha.')
        if unit:
            material["unit"] = unit
        surface = config.site.surface(row["surface"])
        area_m2 = _number(row["area_m2"], "area_m2") if "area_m2" in row else surface.area_m2
        material["amount"] = _number(row["rate"], "rate") * area_m2 / 10_000.0
    return material
