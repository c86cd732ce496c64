"""What the writing routes share: their headers and parameters."""

from __future__ import annotations

from typing import Annotated

from fastapi import Header, Query

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", description="A UUID; the same write sent again under it is done once."),
]
Day = Annotated[str | None, Query(description="today, yesterday, a weekday (the last one) or a date.")]
