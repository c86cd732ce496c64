"""Starting the service: what it listens on, and what it refuses."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import click

from planner.config.load import Config
from planner.errors import InputError
from planner.service.listening import is_loopback
from planner.service.shelf import Shelf


def serve(
    config: Config, *, host: str | None, port: int | None, demo: Path | None, demo_now: datetime
) -> None:
    """Run until stopped. Beyond loopback it refuses to start without a write token."""
    import uvicorn

    from planner.service.app import create_app
    from planner.service.desk import Desk
    from planner.service.forms import forms
    from planner.service.views import PageViews
    from planner.service.writes import writes
    from planner.store import Store

    address, number = host or config.service.host, port or config.service.port
    token = os.environ.get(config.service.token_env, "")
    if not is_loopback(address) and not token:
        raise InputError(
            f"{address} can be reached from other machines, and no write token is set. Set "
            f"{config.service.token_env} to a long secret, or listen on 127.0.0.1."
        )
    every = config.forecast.every_minutes
    if demo is not None:
        from planner.cycle import assess
        from planner.forecast.recorded import read_file
        from planner.service.passes import demo_shelf

        shelf = Shelf(lambda: demo_now, PageViews())
        forecast = read_file(demo, fetched_at=demo_now)
        demo_shelf(config, shelf, assess(config, forecast, now=demo_now))
        app = create_app(shelf, clock=lambda: demo_now, every_minutes=every)
        # The demo's diary is kept in memory and forgotten; its week stands still.
        desk = Desk(
            config=lambda: config,
            store=Store.open("sqlite://"),
            shelf=shelf,
            clock=lambda: demo_now,
            token=token,
            renew=lambda: None,
            tells=False,
        )
    else:
        from planner.service.passes import Passes

        shelf = Shelf(_clock, PageViews())
        store = Store.open(config.store.url)
        passes = Passes(config, store, shelf, _clock)
        app = create_app(shelf, clock=_clock, passes=passes, every_minutes=every)
        desk = Desk(
            config=lambda: passes.config,
            store=store,
            shelf=shelf,
            clock=_clock,
            token=token,
            renew=passes.renew,
        )
    app.include_router(writes(desk))
    app.include_router(forms(desk))
    click.echo(f"Haysel answers on http://{address}:{number}/", err=True)
    uvicorn.run(
        app,
        host=address,
        port=number,
        log_level="warning",
        access_log=False,
        # Open event lines never end by themselves.
        timeout_graceful_shutdown=2,
    )


def _clock() -> datetime:
    return datetime.now(UTC)
