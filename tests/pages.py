"""Pages that are generated from tables: run `python -m tests.pages` after a table has changed."""

from __future__ import annotations

from planner.indices import INDICES
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
    for i in INDICES:
        lines.append(
            f"| {i.name} | {i.unit} | {i.says} | {i.bounds[0]:g} to {i.bounds[1]:g} | {i.scope} | {i.valid} "
            f"| {i.source} |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    (ROOT / "docs" / "variables.md").write_text(variables_page(), encoding="utf-8")
