"""What the service writes to its log: lines for people, or one JSON object a line for programs that gather logs."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

from planner.terms import in_utc


class AsJson(logging.Formatter):
    """One JSON object a line: `time` (UTC), `level`, `logger`, `says`, and `traceback` where there is one."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        row = {
            "time": in_utc(datetime.fromtimestamp(record.created, UTC)),
            "level": record.levelname.lower(),
            "logger": record.name,
            "says": record.getMessage(),
        }
        if record.exc_info:
            row["traceback"] = self.formatException(record.exc_info)
        return json.dumps(row, ensure_ascii=False)


def set_up(form: str) -> None:
    """Warnings and worse go to stderr, as `text` or as `json`."""
    handler = logging.StreamHandler()
    handler.setFormatter(
        AsJson() if form == "json" else logging.Formatter("%(levelname)s %(name)s: %(message)s")
    )
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
