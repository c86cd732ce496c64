"""One instance of the service, run as a program by test_sharing.py: FOLDER BEGUN. Prints its port.

Its clock runs fast from BEGUN on (seconds since 1970), the same in every instance, so that a slot of ten minutes is
some seconds; leases are as short.
"""

from __future__ import annotations

import logging
import socket
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

from planner.config.folder import load_sites
from planner.service import app, context, run, sharing
from planner.store.store import Store

#: Seconds of its clock in one of ours.
FAST = 150


def main(folder: Path, begun: float) -> None:
    """Serves until it is stopped."""

    def clock() -> datetime:
        return datetime.fromtimestamp(begun + (time.time() - begun) * FAST, UTC)

    run._clock = clock
    sharing.LEASE_S, sharing.BEAT_S = 3.0, 0.3
    context.OURS_EVERY_S = 0.1
    app.LOOK_EVERY_S, app.JITTER_S = 0.3, 0.0
    # Every pass stays, to be counted.
    Store.keep_pass.__kwdefaults__["keep_last"] = 1000  # type: ignore[index]
    logging.basicConfig(level=logging.ERROR)
    held = socket.socket()
    held.bind(("127.0.0.1", 0))
    served = run.sites_app(load_sites(folder), "")
    print(held.getsockname()[1], flush=True)  # noqa: T201
    config = uvicorn.Config(served, log_level="error", log_config=None, timeout_graceful_shutdown=1)
    uvicorn.Server(config).run(sockets=[held])


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]))
