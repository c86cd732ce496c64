"""The demo's report, as the pages read it."""

from __future__ import annotations

from tests.service.conftest import cache, clock, report, workings

__all__ = ["cache", "clock", "report", "workings"]
