"""The kinds of need and what a job is. A new kind is one file and one row in `AnyNeed`."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Tag

from planner.rules.clock import Clock, Season
from planner.rules.count import Count, Slope
from planner.rules.gap import Gap
from planner.rules.limit import Limit

#: The table of kinds. A need without `kind` is a limit on a quantity.
KINDS = {
    "limit": Limit,
    "gap": Gap,
    "clock": Clock,
    "season": Season,
    "count": Count,
    "slope": Slope,
}


def _kind_of(raw: Any) -> str:
    kind = raw.get("kind", "limit") if isinstance(raw, dict) else getattr(raw, "kind", "limit")
    return str(kind)


AnyNeed = Annotated[
    Annotated[Limit, Tag("limit")]
    | Annotated[Gap, Tag("gap")]
    | Annotated[Clock, Tag("clock")]
    | Annotated[Season, Tag("season")]
    | Annotated[Count, Tag("count")]
    | Annotated[Slope, Tag("slope")],
    Discriminator(_kind_of),
]
