"""The two pages a keeper writes on: the tank sheet and the diary."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from planner.page.frame import Answers, write

Rows = Sequence[Mapping[str, Any]]


def tank(
    answers: Answers,
    *,
    pairs: Rows,
    kits: Sequence[str],
    materials: Rows,
    asked: Mapping[str, str],
    sheet: Mapping[str, Any] | None,
    fault: str,
) -> bytes:
    """Amounts for one job on one surface; `sheet` is what `/api/v1/mix` answers, None before it is asked for."""
    return write(
        "tank.html.j2",
        answers,
        pairs=pairs,
        kits=kits,
        materials=materials,
        asked=asked,
        sheet=sheet,
        says=fault,
        reload=False,
    )


def diary(
    answers: Answers,
    *,
    entries: Rows,
    may_read: bool,
    can_write: bool,
    token_name: str,
    surfaces: Sequence[str],
    materials: Rows,
    told: Mapping[str, str],
    key: str,
    written: Mapping[str, Any] | None,
    fault: str,
) -> bytes:
    """What was done lately, and the form to write down more; `told` fills it again after a fault."""
    return write(
        "diary.html.j2",
        answers,
        entries=entries,
        may_read=may_read,
        can_write=can_write,
        token_name=token_name,
        surfaces=surfaces,
        materials=materials,
        told=told,
        key=key,
        written=written,
        says=fault,
        reload=False,
    )
