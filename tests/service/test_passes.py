"""Passes made by the service: on time, after a failure, after a changed config; what health says of it."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from planner.actions.one_pass import Passed, assess, reported
from planner.config.load import Config, load
from planner.errors import ForecastUnavailable
from planner.forecast.recorded import read_file
from planner.page import HTML, home
from planner.reports.as_of import as_of
from planner.reports.now import now as flat_now
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service import app as app_module
from planner.service import listening
from planner.service import passes as passes_module
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.passes import PassRunner
from planner.store.passes import PASS
from planner.store.store import Store
from tests.made import stored, with_few_jobs
from tests.service.conftest import NOW, ROOT, Clock


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A config folder of its own, free to be spoilt."""
    return with_few_jobs(tmp_path / "config")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(f"sqlite:///{tmp_path / 'store.db'}")
    yield opened
    opened.close()


@pytest.fixture
def pulled(monkeypatch: pytest.MonkeyPatch) -> list[Config]:
    """Passes read the shipped week instead of the network; the configs they were made with, in order."""
    made: list[Config] = []

    def run(
        config: Config,
        store: Store,
        *,
        now: object,
        extra_faults: tuple[str, ...] = (),
        once: str | None = None,
        **_: object,
    ) -> Passed:
        made.append(config)
        forecast = read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=now)  # type: ignore[arg-type]
        report, workings = reported(assess(config, forecast, now=now, faults=extra_faults))  # type: ignore[arg-type]
        number = stored(store, report, workings, once=once)
        return Passed(report=report, workings=workings, faults=(), number=number)

    monkeypatch.setattr(passes_module, "run", run)
    return made


def _passes(folder: Path, store: Store, clock: Clock) -> tuple[PassRunner, ReportCache]:
    cache = ReportCache(clock)
    return PassRunner(load(folder / "demo.toml"), store, cache, clock), cache


def looked(passes: PassRunner) -> None:
    """As the service looks: a changed config has its pass at once."""
    passes.look()
    if passes.has_changed:
        passes.run()


def _page(cache: ReportCache) -> str:
    return cache.snapshot().item(("home",), HTML, home).body.decode()


def _report(cache: ReportCache) -> Report:
    return cache.snapshot().report


def test_a_pass_is_made_once_for_an_interval(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, cache = _passes(folder, store, clock)
    assert passes.is_due
    passes.run()
    passes.run()
    assert len(pulled) == 1
    assert not passes.is_due
    clock.forward(hours=1)
    assert passes.is_due
    passes.run()
    assert len(pulled) == 2
    assert cache.made_at == NOW + timedelta(hours=1)


def test_a_new_start_shows_the_stored_pass_at_once(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    first, _ = _passes(folder, store, clock)
    first.run()
    _, cache = _passes(folder, store, clock)
    assert cache.made_at == NOW
    with TestClient(create_app(cache, clock=clock)) as client:
        assert client.get("/").status_code == 200
        assert client.get("/calendar.ics").status_code == 200


def test_a_pass_of_another_process_is_taken_up(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    mine, cache = _passes(folder, store, clock)
    other, _ = _passes(folder, store, clock)
    other.run()
    assert cache.made_at is None
    mine.run()
    assert len(pulled) == 1
    assert cache.made_at == NOW


def test_a_failed_pass_keeps_the_last_good_one_and_is_told(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    kept = _report(cache)

    def fails(*_: object, **named: object) -> Passed:
        raise ForecastUnavailable("the sky is out of reach")

    monkeypatch.setattr(passes_module, "run", fails)
    clock.forward(hours=1)
    passes.run()
    assert _report(cache) == as_of(kept, clock.now)
    with TestClient(create_app(cache, clock=clock, passes=None)) as client:
        assert client.get("/api/v1/now").status_code == 200
    app = create_app(cache, clock=clock, passes=passes, every_minutes=60)
    health = TestClient(app).get("/health")
    assert health.status_code == 200
    assert health.json()["last_fault"] == "the sky is out of reach"
    clock.forward(hours=1, minutes=1)
    health = TestClient(app).get("/health")
    assert health.status_code == 503
    assert health.json()["healthy"] is False


def test_a_good_change_of_the_config_is_worked_with_at_once(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    looked(passes)
    assert len(pulled) == 1
    site = folder / "demo.toml"
    site.write_text(site.read_text().replace('name = "Thistlewick Vale"', 'name = "Lower Thistlewick"'))
    clock.forward(minutes=5)
    looked(passes)
    assert [config.site.name for config in pulled] == ["Thistlewick Vale", "Lower Thistlewick"]
    assert _report(cache).site.name == "Lower Thistlewick"
    assert "Lower Thistlewick" in _page(cache)


def _move(folder: Path, latitude_deg: float) -> None:
    site = folder / "demo.toml"
    text = re.sub(r"latitude_deg = [-0-9.]+", f"latitude_deg = {latitude_deg}", site.read_text(), count=1)
    site.write_text(text)


def test_a_second_start_in_the_same_hour_makes_no_second_pass(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    first, _ = _passes(folder, store, clock)
    first.run()
    # Longer than a lease: only that the pass is marked as finished keeps others from making it again.
    clock.forward(minutes=30)
    second, cache = _passes(folder, store, clock)
    second.run()
    assert len(pulled) == 1
    assert cache.made_at == NOW


def test_a_pass_that_cannot_be_read_bars_no_new_one_in_its_hour(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    """As after an upgrade: the version before has made this hour's pass, under a slot of its own."""
    store.keep_pass(NOW, {"report": b"of another shape"}, schema=0)
    slot = str(int(NOW.timestamp() // 3600))
    assert store.claim(PASS, slot, 600, NOW)
    store.bound_to(store.site, "of the version before").keep_pass(NOW, {}, schema=0, once=slot)
    passes, cache = _passes(folder, store, clock)
    assert passes.is_due
    passes.run()
    assert len(pulled) == 1
    assert cache.made_at == NOW


def test_a_site_that_moved_shows_nothing_of_where_it_was(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    made = passes_module.run

    def fails(*_: object, **named: object) -> Passed:
        raise ForecastUnavailable("the sky is out of reach")

    monkeypatch.setattr(passes_module, "run", fails)
    _move(folder, 58.0)
    clock.forward(minutes=5)
    looked(passes)
    assert cache.made_at is None
    assert passes.is_due
    with TestClient(create_app(cache, clock=clock)) as client:
        assert client.get("/api/v1/windows").status_code == 503
        assert client.get("/").status_code == 503
    monkeypatch.setattr(passes_module, "run", made)
    passes.run()
    assert _report(cache).place.latitude_deg == 58.0


def test_a_slow_pass_of_the_place_before_is_not_shown(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    made, stores = passes_module.run, []

    def slow(config: Config, store: Store, **named: object) -> Passed:
        stores.append((config.site.place, store.place))
        found: Passed = made(config, store, **named)  # type: ignore[arg-type]
        if len(stores) == 1:
            # While it asks the service, the site moves and is judged anew.
            _move(folder, 58.0)
            looked(passes)
        return found

    monkeypatch.setattr(passes_module, "run", slow)
    passes.run()
    assert len(stores) == 2
    assert all(of_config == of_store for of_config, of_store in stores)
    assert _report(cache).place.latitude_deg == 58.0


def _renewals(monkeypatch: pytest.MonkeyPatch, between: Callable[[int], None]) -> list[int]:
    """Renewals read the shipped week; `between` is called while each is made, with its number."""
    made: list[int] = []

    def again(
        config: Config, store: Store, *, now: datetime, extra_faults: tuple[str, ...] = (), sends: bool
    ) -> Passed:
        made.append(1)
        newest = store.newest_pass()
        forecast = read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=now)
        report, workings = reported(assess(config, forecast, now=now, faults=extra_faults))
        between(len(made))
        number = stored(store, report, workings, after=0 if newest is None else newest.number)
        return Passed(report=report, workings=workings, faults=(), number=number)

    monkeypatch.setattr(passes_module, "again", again)
    return made


def test_a_pass_that_was_begun_before_the_one_shown_does_not_take_its_place(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)

    def slow(_: int) -> None:
        # A whole pass is made while the renewal is worked out.
        clock.forward(seconds=8)
        passes.run()

    _renewals(monkeypatch, slow)
    passes.renew()
    assert cache.made_at == passes.last_good == NOW + timedelta(seconds=8)


def test_a_pass_of_another_process_is_not_replaced_by_an_older_one_of_ours(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    other, _ = _passes(folder, store, clock)

    def slow(_: int) -> None:
        clock.forward(seconds=8)
        other.run()
        looked(passes)

    _renewals(monkeypatch, slow)
    passes.renew()
    assert cache.made_at == NOW + timedelta(seconds=8)


def test_a_renewal_after_the_clock_was_set_back_is_shown(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    clock.forward(hours=-2)
    _renewals(monkeypatch, lambda _: None)
    passes.renew()
    assert cache.made_at == NOW - timedelta(hours=2)


def test_renewals_are_made_one_at_a_time_and_those_that_wait_together(
    folder: Path, store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, _ = _passes(folder, store, clock)

    def asked_meanwhile(number: int) -> None:
        if number == 1:
            for _ in range(5):
                passes.renew()

    made = _renewals(monkeypatch, asked_meanwhile)
    passes.renew()
    assert len(made) == 2

    def broken(*_: object, **__: object) -> Passed:
        raise ZeroDivisionError

    monkeypatch.setattr(passes_module, "again", broken)
    with pytest.raises(ZeroDivisionError):
        passes.renew()
    # A fault keeps none of the next from being made.
    made = _renewals(monkeypatch, lambda _: None)
    passes.renew()
    assert len(made) == 1


def test_a_pass_that_lands_while_a_fault_is_noted_is_the_one_shown(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    put, landed = cache.put, []

    def slow_put(report: Report, workings: Workings) -> None:
        if not landed:
            # The hour's pass begins while the report with the fault is being put.
            clock.forward(hours=1)
            landed.append(threading.Thread(target=passes.run))
            landed[0].start()
            landed[0].join(timeout=0.3)
        put(report, workings)

    monkeypatch.setattr(cache, "put", slow_put)
    (folder / "demo.toml").write_text("nothing that holds")
    looked(passes)
    landed[0].join(timeout=60)
    assert cache.made_at == NOW + timedelta(hours=1)


def test_a_faulty_change_leaves_the_last_good_one_and_is_told_everywhere(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, cache = _passes(folder, store, clock)
    passes.run()
    site = folder / "demo.toml"
    good = site.read_text()
    site.write_text(good.replace('kind = "collar"', 'kind = "colar"'))
    looked(passes)
    assert len(pulled) == 1
    assert passes.config.site.surface("collar").kind == "collar"
    says = "The changed config is not in force"
    assert any(says in note for note in _report(cache).forecast.notes)
    assert says in str(flat_now(_report(cache))["fault"])
    with TestClient(create_app(cache, clock=clock)) as client:
        for name in ("windows", "days", "warnings"):
            notes = client.get(f"/api/v1/{name}").json()["forecast"]["notes"]
            assert any(says in note for note in notes), name
        for path in ("/", "/sheet", "/job/foliar_feed"):
            assert says in client.get(path).text, path
    health = TestClient(create_app(cache, clock=clock, passes=passes)).get("/health").json()
    assert says in health["config_fault"]
    clock.forward(hours=1)
    passes.run()
    assert any(says in note for note in _report(cache).forecast.notes)
    site.write_text(good + "\n# put right\n")
    clock.forward(minutes=1)
    looked(passes)
    assert passes.config_fault is None
    assert _report(cache).forecast.notes == ()
    assert flat_now(_report(cache))["fault"] is None
    assert says not in _page(cache)


class _Counting:
    """Stands where the passes stand, and counts."""

    def __init__(self, cache: ReportCache) -> None:
        self.made = 0
        self.enough, self.looked = threading.Event(), threading.Event()
        self.last_fault = self.config_fault = None
        self.failed_pulls = 0
        self.is_due = self.may_try = True
        self.is_ours, self.has_changed = True, False
        self.threads: set[int] = set()

    def run(self) -> None:
        self.made += 1
        self.threads.add(threading.get_ident())
        if self.made >= 3:
            self.enough.set()

    def look(self) -> None:
        self.looked.set()

    def messages(self) -> dict[str, dict[str, int]]:
        return {}

    def kept_calendar(self) -> None:
        return None

    def keep_calendar(self, kept: bytes) -> None:
        """Kept nowhere."""


def test_the_lifespan_makes_a_pass_whenever_one_is_due_and_looks_between(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(app_module, "LOOK_EVERY_S", 0.01)
    cache = ReportCache(clock)
    counting = _Counting(cache)
    with TestClient(create_app(cache, clock=clock, passes=counting)):  # type: ignore[arg-type]
        assert counting.enough.wait(60), "no third pass"
        assert counting.looked.wait(60), "the config was not looked at"
    assert threading.get_ident() not in counting.threads
    made = counting.made
    counting.enough.clear()
    assert not counting.enough.wait(0.1)
    assert counting.made == made, "a pass after the end"


def test_it_answers_before_its_first_pass_is_over(clock: Clock) -> None:
    cache = ReportCache(clock)
    counting, may_end = _Counting(cache), threading.Event()
    counting.run = lambda: may_end.wait(60)  # type: ignore[method-assign, assignment, return-value]
    with TestClient(create_app(cache, clock=clock, passes=counting)) as client:  # type: ignore[arg-type]
        assert client.get("/health").status_code == 503
        assert client.get("/").status_code == 503
        may_end.set()


def _serve(**named: object) -> Callable[[], None]:
    from planner.service.run import serve

    config = load(ROOT / "config" / "demo.toml")
    week = ROOT / "fixtures" / "demo" / "week.csv"
    return lambda: serve([config], port=None, demo=week, demo_now=NOW, **named)  # type: ignore[arg-type]


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::", "turf.example"])
def test_without_a_token_it_refuses_to_be_reached_from_elsewhere(
    host: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from planner.errors import InputError

    monkeypatch.delenv("HAYSEL_TOKEN", raising=False)
    with pytest.raises(InputError, match="no write token is set. Set HAYSEL_TOKEN"):
        _serve(host=host)()


@pytest.mark.parametrize(
    ("host", "token"), [("0.0.0.0", "long"), ("127.0.0.1", ""), ("::1", ""), ("localhost", "")]
)
def test_with_a_token_or_on_loopback_it_listens(
    host: str, token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    monkeypatch.setenv("HAYSEL_TOKEN", token)
    monkeypatch.setattr(listening, "listening", lambda host, port: asked.append(host) or [])
    monkeypatch.setattr(listening.Telling, "run_on", lambda self, sockets: asked.append(self.config.host))
    _serve(host=host)()
    assert asked == [host, host]
