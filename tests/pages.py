"""Pages that are generated from tables: run `python -m tests.pages` after a table has changed."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

import msgspec

from planner.indices import INDICES
from planner.verification import QUANTITIES, showing, verified
from planner.verification.base import DRAWS, LEAST_BLOCKS, Row
from planner.verification.data import KINDS
from planner.verification.soil_temperature import MANY_STATIONS
from planner.weather import VARIABLES
from tests.made import ROOT

HEAD = """# Variables and indices

Generated from `planner/weather.py` and the tables in `planner/indices/`; change those, then run
`python -m tests.pages`.

## Columns of an hour of weather

The label is the start of the hour in UTC. A value outside the credible range, or a lone hour that leaves both
neighbours by more than the spike, is read as unknown and named.

| column | unit | over the hour | credible | spike | needed | CF standard name |
| --- | --- | --- | --- | --- | --- | --- |
"""


def variables_page() -> str:
    """The text of docs/variables.md."""
    lines = [HEAD.rstrip()]
    for v in VARIABLES:
        spike = "" if v.spike is None else f"{v.spike:g}"
        needed = "yes" if v.needed else ""
        lines.append(
            f"| {v.name} | {v.unit} | {v.over_hour} | {v.low:g} to {v.high:g} | {spike} | {needed} "
            f"| {v.standard_name} |"
        )
    lines += [
        "",
        "## Indices",
        "",
        "Any of these, and any column above, may be the `quantity` of a need. `sky`: the same for all surfaces.",
        "",
        "| index | unit | says | range | scope | valid | source |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    poor = not_beaten()
    for i in INDICES:
        mark = (
            f" **Not everywhere surely better than {poor[i.name]} ([where](verification.md)).**"
            if i.name in poor
            else ""
        )
        lines.append(
            f"| {i.name} | {i.unit} | {i.says}{mark} | {i.bounds[0]:g} to {i.bounds[1]:g} | {i.scope} | {i.valid} "
            f"| {i.source} |"
        )
    return "\n".join(lines) + "\n"


#: Rows as they were last measured: on the data of this project, and on data that is measured from elsewhere.
RECORD = ROOT / "docs" / "verification.json"


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """A row of the record."""

    row: Row
    on: date | None
    """When it was measured, for data that the project does not carry; None for those that a test holds current."""


def record() -> list[Measured]:
    """The rows on record."""
    return msgspec.json.decode(RECORD.read_bytes(), type=list[Measured]) if RECORD.exists() else []


VERIFICATION_HEAD = """# How right the figures are

Generated from `docs/verification.json` by `python -m tests.pages`. The chance of ground frost, the radiating surface
at night, the soil temperature told from air, the water of the root zone and the wetness of the leaf are held against
measurements, and against simple ways of getting the same: a figure that is not better says so here and in
[variables.md](variables.md). The other figures are held by published examples alone
([published-checks.md](published-checks.md)).

- **Gain** is how much better than the baseline, in the unit of the score, whatever the measure. Its interval holds
  95 % of {draws} draws with replacement, both answers to the same cases; the verdict is "better" only where all of it
  lies above nothing. Drawn are, for ground frost, weeks of all stations together (of De Bilt: weeks); for the night
  surface and the leaf, weeks; for the soil temperature, weeks of a station where there are fewer than {many}
  stations (Ireland), else whole stations (United States); for soil water, whole stations. Fewer than {least} such
  blocks have no interval.
- **Fitted on** says what of these data had a part in making the figure. "left out in turn": each station or decade is
  judged by constants made without it. "these": they had a part, and no fit without them was made. "none": what is
  shipped is judged on what it never saw.
- Baselines of ground frost are fitted on carried data of other stations or decades; the threshold of humidity on the
  other months of the record; a mean error of air is taken from the very cases that are judged, which favours the
  baseline.
- Weather is as measured, not forecast: these are the errors of the models alone. The cloud of the Irish nights is not
  measured but inferred from the daylight of the days before and after the night; that of the leaf's record from the
  longwave of the same hour.

`haysel verify` measures the first table again on your machine, `haysel verify --data DIR` on tables of your own, CSV
or gzipped CSV, in the folder or in folders in it; `fixtures/verification/README.md` says what the columns hold. Capital
letters in a file's name are as small ones, and several tables of a kind are read as one. A table without a needed
column is left out and named; without an optional one less is told.

| name | needed | optional |
| --- | --- | --- |
{kinds}
"""


def verification_page(rows: list[Measured]) -> str:
    """The text of docs/verification.md."""
    kinds = "\n".join(
        f"| `{kind.pattern}.csv`, `.csv.gz` | {', '.join(kind.needed)} | {', '.join(kind.optional)} |"
        for kind in KINDS
    )
    head = VERIFICATION_HEAD.format(draws=f"{DRAWS:,}", many=MANY_STATIONS, least=LEAST_BLOCKS, kinds=kinds)
    lines = [head.rstrip(), ""]
    lines += ["![Gain over the baseline, as a share of its score](verification.svg)", ""]
    carried, elsewhere = ([one for one in rows if (one.on is None) is here] for here in (True, False))
    lines += ["## On data that the project carries", "", "A test holds this table current.", ""]
    lines += showing.table(one.row for one in carried)
    if elsewhere:
        lines += ["", "## On data measured from elsewhere", ""]
        lines += [
            "Their terms do not allow a copy here, or they were kept apart from the making; the rows are dated and",
            "stay as measured.",
            "",
        ]
        for day in sorted({one.on for one in elsewhere if one.on is not None}):
            lines += [f"Measured on {day.isoformat()}:", ""]
            lines += [*showing.table(one.row for one in elsewhere if one.on == day), ""]
    chances = [one.row for one in rows if one.row.bins]
    if chances:
        lines += ["", "## Said and happened", ""]
        lines += ["| quantity | data | said between | cases | said on average | happened |"]
        lines += ["| --- | --- | --- | --- | --- | --- |"]
        lines += [
            f"| {row.quantity} | {row.data} | {part.low:g} and {part.high:g} | {part.cases} | {part.said:.2f} "
            f"| {part.happened:.2f} |"
            for row in dict.fromkeys((row.quantity, row.data, row.bins) for row in chances)
            for row in [next(one for one in chances if (one.quantity, one.data, one.bins) == row)]
            for part in row.bins
        ]
    return "\n".join(lines).rstrip() + "\n"


def not_beaten() -> dict[str, str]:
    """Index -> the baselines that it does not surely beat."""
    found: dict[str, set[str]] = {}
    for one in record():
        for name in one.row.indices:
            if not one.row.is_better:
                found.setdefault(name, set()).add(one.row.baseline)
    return {name: "; ".join(sorted(texts)) for name, texts in found.items()}


def _measure(elsewhere: Path | None) -> list[Measured]:
    """The record anew: rows of carried data, and those of a folder, which replace rows of the same data."""
    here = [Measured(row=row, on=None) for row in verified(ROOT / "fixtures")]
    kept = {_about(one.row): one for one in record() if one.on is not None}
    if elsewhere is not None:
        today = datetime.now(UTC).date()
        kept |= {_about(row): Measured(row=row, on=today) for row in verified(elsewhere)}
    carried = {_about(one.row) for one in here}
    order = list(QUANTITIES)
    others = [one for about, one in kept.items() if about not in carried]
    return sorted([*here, *others], key=lambda one: (one.on is not None, order.index(one.row.quantity)))


def _about(row: Row) -> tuple[str, str, str, str]:
    return row.quantity, row.data, row.baseline, row.fitted


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--elsewhere", type=Path, help="measure on this folder, too, and date those rows")
    parser.add_argument("--verify", action="store_true", help="measure the rows of the verification again")
    asked = parser.parse_args()
    docs = ROOT / "docs"
    if asked.verify or asked.elsewhere is not None:
        RECORD.write_bytes(
            msgspec.json.format(msgspec.json.encode(_measure(asked.elsewhere)), indent=1) + b"\n"
        )
    (docs / "verification.md").write_text(verification_page(record()), encoding="utf-8")
    (docs / "verification.svg").write_text(showing.picture([one.row for one in record()]), encoding="utf-8")
    (docs / "variables.md").write_text(variables_page(), encoding="utf-8")
