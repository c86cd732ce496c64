"""Starting the service: what it listens on, and what it refuses."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from planner.config.load import Config
from planner.errors import InputError
from planner.service.context import Context
from planner.service.hosts import is_loopback

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.types import ASGIApp

    from planner.service.cache import ReportCache
    from planner.service.passes import PassRunner
    from planner.service.rates import Streams
    from planner.service.sharing import Share
    from planner.store.store import Store


def serve(
    configs: Sequence[Config], *, host: str | None, port: int | None, demo: Path | None, demo_now: datetime
) -> None:
    """Run until stopped, for one site or several. Beyond loopback it refuses to start without a write token."""
    import uvicorn

    from planner.service import log
    from planner.service.edge import edge
    from planner.service.listening import Telling, address_of, listening
    from planner.service.pauses import give_way
    from planner.service.wire import wire

    config = configs[0]
    address, number = host or config.service.host, port or config.service.port
    token = os.environ.get(config.service.token_env, "")
    if not is_loopback(address) and not token:
        raise InputError(
            f"{address} can be reached from other machines, and no write token is set. Set "
            f"{config.service.token_env} to a long secret, or listen on 127.0.0.1."
        )
    # First of all, so that no pass is begun and no lease taken by one that cannot answer.
    sockets = listening(address, number)
    app: ASGIApp
    if demo is not None:
        app = demo_app(config, demo, demo_now, token)
    else:
        app = site_app(config, token) if len(configs) == 1 else sites_app(configs, token)
    log.set_up(config.service.log)
    give_way()
    settings = uvicorn.Config(
        edge(app, config.service, listens=address, has_several=len(configs) > 1),
        host=address,
        port=number,
        http=wire(config.service.trusted_proxies),
        ws="none",
        # Below that it tells of each request that is none: whoever sends them could fill the disk.
        log_level="error",
        log_config=None,
        access_log=False,
        # Done above, where the address of the proxy itself is still known.
        proxy_headers=False,
        # Open event streams never end by themselves.
        timeout_graceful_shutdown=2,
    )
    Telling(settings, address_of(address, number)).run_on(sockets)


def demo_app(config: Config, forecast: Path, now: datetime, token: str = "") -> FastAPI:
    """The service on a forecast file at a fixed clock. Its diary is kept in memory and forgotten."""
    from planner.actions.one_pass import computed
    from planner.actions.pass_input import record_of
    from planner.forecast.recorded import read_file
    from planner.service.cache import ReportCache
    from planner.service.pages import draw_at_once
    from planner.service.together import Together
    from planner.store.store import Store

    def clock() -> datetime:
        return now

    cache = ReportCache(clock, draw_at_once)
    store = Store.open("sqlite://")
    week = read_file(forecast, fetched_at=now)
    invented = replace(
        config, site=replace(config.site, name=f"{config.site.name}, an invented place and week")
    )

    def renew() -> None:
        cache.put(*computed(invented, week, now=now, record=record_of(store, config, now)))

    renew()
    return _app(
        Context(
            config=lambda: config,
            store=lambda: store,
            cache=cache,
            clock=clock,
            token=token,
            renew=Together(renew, "a pass after a diary entry").now,
            sends=False,
        ),
        streams=_streams(config),
    )


def sites_app(configs: Iterable[Config], token: str) -> ASGIApp:
    """The service of several sites: each as it would be alone, below `/sites/KEY/`."""
    from planner.service.cache import ReportCache
    from planner.service.pages import draw_at_once
    from planner.service.sites import Housed, house

    every, housed = tuple(configs), {}
    # Of one service, however many sites it has.
    streams = _streams(every[0])
    opened = _opened(every)
    for config in every:
        cache = ReportCache(_clock, draw_at_once)
        app = _site(config, token, cache, streams, opened[config.store.url])
        housed[config.site.key] = Housed(key=config.site.key, name=config.site.name, app=app, cache=cache)
    return house(housed, [one.share for one in opened.values() if one.share is not None], clock=_clock)


def site_app(config: Config, token: str) -> FastAPI:
    """The service of a site: passes on a schedule, kept in its store."""
    from planner.service.cache import ReportCache
    from planner.service.pages import draw_at_once

    cache, opened = ReportCache(_clock, draw_at_once), _opened([config])[config.store.url]
    app = _site(config, token, cache, _streams(config), opened)
    if opened.share is not None:
        app.include_router(opened.share.router())
    return app


@dataclass(frozen=True, slots=True)
class _Opened:
    """A store, opened once for all of its sites, and which of them this instance works for; None: for all."""

    store: Store
    share: Share | None


def _opened(configs: Sequence[Config]) -> dict[str, _Opened]:
    """The stores of these sites, by their addresses."""
    from planner.service.sharing import Share
    from planner.store.store import Store

    sites: dict[str, list[str]] = {}
    for config in configs:
        sites.setdefault(config.store.url, []).append(config.site.key)
    opened = {}
    for url, keys in sites.items():
        store = Store.open(url)
        leases = store.leases()
        opened[url] = _Opened(store, None if leases is None else Share(leases, keys))
    return opened


def _site(config: Config, token: str, cache: ReportCache, streams: Streams, opened: _Opened) -> FastAPI:
    from planner.service.passes import PassRunner

    share, key = opened.share, config.site.key

    def is_ours() -> bool:
        return share is None or share.holds(key)

    passes = PassRunner(config, opened.store, cache, _clock, is_ours=is_ours)
    return _app(
        Context(
            config=lambda: passes.config,
            store=lambda: passes.store,
            cache=cache,
            clock=_clock,
            token=token,
            renew=passes.renew,
            is_ours=is_ours,
        ),
        passes,
        streams=streams,
    )


def _streams(config: Config) -> Streams:
    from planner.service.rates import Streams

    return Streams(config.service.streams, config.service.streams_per_client)


def _app(context: Context, passes: PassRunner | None = None, *, streams: Streams) -> FastAPI:
    """Everything the service answers."""
    from planner.service.app import create_app
    from planner.service.forms import forms
    from planner.service.writes import writes

    every = context.config().forecast.every_minutes
    app = create_app(context.cache, clock=context.clock, passes=passes, every_minutes=every, streams=streams)
    app.include_router(writes(context))
    app.include_router(forms(context))
    origins = context.config().service.read_from
    if origins:
        from planner.service.proxies import ReadElsewhere

        app.add_middleware(ReadElsewhere, allow_origins=list(origins), allow_methods=["GET", "HEAD"])
    return app


def _clock() -> datetime:
    return datetime.now(UTC)
