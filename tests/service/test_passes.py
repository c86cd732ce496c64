"""Passes made by the service: on time, after a failure, after a changed config; what health says of it."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from planner.config.load import Config, load
from planner.cycle import Passed, assess
from planner.errors import ForecastUnavailable
from planner.forecast.recorded import read_file
from planner.service import app as app_module
from planner.service import passes as passes_module
from planner.service.app import create_app
from planner.service.passes import Passes
from planner.service.shelf import Shelf
from planner.service.views import PageViews
from planner.store import Answer, Store
from tests.service.conftest import NOW, ROOT, Clock


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A config folder of its own, free to be spoilt."""
    shutil.copytree(ROOT / "config", tmp_path / "config")
    return tmp_path / "config"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(f"sqlite:///{tmp_path / 'store.db'}")
    yield opened
    opened.close()


@pytest.fixture
def pulled(monkeypatch: pytest.MonkeyPatch) -> list[Config]:
    """Passes read the shipped week instead of the network; the configs they were made with, in order."""
    from planner.answers import render

    made: list[Config] = []

    def run(config: Config, store: Store, *, now: object, extra_faults: tuple[str, ...] = ()) -> Passed:
        made.append(config)
        forecast = read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=now)  # type: ignore[arg-type]
        briefing = assess(config, forecast, now=now, faults=extra_faults)  # type: ignore[arg-type]
        answers = render(briefing)
        store.keep_pass(
            briefing.made_at,
            {name: Answer(content_type=kind, body=body) for name, (kind, body) in answers.items()},
        )
        return Passed(briefing=briefing, answers=answers, faults=())

    monkeypatch.setattr(passes_module, "run", run)
    return made


def _passes(folder: Path, store: Store, clock: Clock) -> tuple[Passes, Shelf]:
    shelf = Shelf(clock, PageViews())
    return Passes(load(folder / "demo.toml"), store, shelf, clock), shelf


def test_a_pass_is_made_once_for_an_interval(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, shelf = _passes(folder, store, clock)
    assert passes.is_due
    passes.run()
    passes.run()
    assert len(pulled) == 1
    assert not passes.is_due
    clock.forward(hours=1)
    assert passes.is_due
    passes.run()
    assert len(pulled) == 2
    assert shelf.made_at == NOW + timedelta(hours=1)


def test_a_new_start_shows_the_stored_pass_at_once(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    first, _ = _passes(folder, store, clock)
    first.run()
    _, shelf = _passes(folder, store, clock)
    assert shelf.made_at == NOW
    with TestClient(create_app(shelf, clock=clock)) as client:
        assert client.get("/").status_code == 200
        assert client.get("/calendar.ics").status_code == 200


def test_a_pass_of_another_process_is_taken_up(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    mine, shelf = _passes(folder, store, clock)
    other, _ = _passes(folder, store, clock)
    other.run()
    assert shelf.made_at is None
    mine.run()
    assert len(pulled) == 1
    assert shelf.made_at == NOW


def test_a_failed_pass_keeps_the_last_good_one_and_is_told(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, shelf = _passes(folder, store, clock)
    passes.run()
    kept = shelf.get("now").etag

    def fails(*given: object, **named: object) -> Passed:
        raise ForecastUnavailable("the sky is out of reach")

    monkeypatch.setattr(passes_module, "run", fails)
    clock.forward(hours=1)
    passes.run()
    assert shelf.get("now").etag == kept
    with TestClient(create_app(shelf, clock=clock, passes=None)) as client:
        assert client.get("/api/v1/now").status_code == 200
    app = create_app(shelf, clock=clock, passes=passes, every_minutes=60)
    told = TestClient(app).get("/health")
    assert told.status_code == 200
    assert told.json()["last_fault"] == "the sky is out of reach"
    clock.forward(hours=1, minutes=1)
    told = TestClient(app).get("/health")
    assert told.status_code == 503
    assert told.json()["healthy"] is False


def test_a_good_change_of_the_config_is_worked_with_at_once(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, shelf = _passes(folder, store, clock)
    passes.run()
    passes.look()
    assert len(pulled) == 1
    site = folder / "demo.toml"
    site.write_text(site.read_text().replace('name = "Thistlewick Vale"', 'name = "Lower Thistlewick"'))
    clock.forward(minutes=5)
    passes.look()
    assert [config.site.name for config in pulled] == ["Thistlewick Vale", "Lower Thistlewick"]
    assert shelf.parsed("now")["site"] == "Lower Thistlewick"
    assert "Lower Thistlewick" in shelf.get("page").body.decode()


def test_a_faulty_change_leaves_the_last_good_one_and_is_told_everywhere(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, shelf = _passes(folder, store, clock)
    passes.run()
    site = folder / "demo.toml"
    good = site.read_text()
    site.write_text(good.replace('kind = "collar"', 'kind = "colar"'))
    passes.look()
    assert len(pulled) == 1
    assert passes.config.site.surface("collar").kind == "collar"
    says = "The changed config is not in force"
    for name in ("windows", "days", "warnings"):
        assert any(says in note for note in shelf.parsed(name)["forecast"]["notes"]), name
    assert says in shelf.parsed("now")["fault"]
    with TestClient(create_app(shelf, clock=clock)) as client:
        for path in ("/", "/sheet", "/job/foliar_feed"):
            assert says in client.get(path).text, path
    told = TestClient(create_app(shelf, clock=clock, passes=passes)).get("/health").json()
    assert says in told["config_fault"]
    clock.forward(hours=1)
    passes.run()
    assert says in json.dumps(shelf.parsed("windows")["forecast"]["notes"])
    site.write_text(good + "\n# put right\n")
    clock.forward(minutes=1)
    passes.look()
    assert passes.config_fault is None
    assert shelf.parsed("windows")["forecast"]["notes"] == []
    assert shelf.parsed("now")["fault"] is None
    assert says not in shelf.get("page").body.decode()


class _Counting:
    """Stands where the passes stand, and counts."""

    def __init__(self, shelf: Shelf) -> None:
        self.made = 0
        self.enough, self.looked = threading.Event(), threading.Event()
        self.last_fault = self.config_fault = None
        self.is_due = True
        self.threads: set[int] = set()

    def run(self) -> None:
        self.made += 1
        self.threads.add(threading.get_ident())
        if self.made >= 3:
            self.enough.set()

    def look(self) -> None:
        self.looked.set()


def test_the_lifespan_makes_the_first_pass_and_then_one_a_second(
    shelf: Shelf, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(app_module, "LOOK_EVERY_S", 1.0)
    counting = _Counting(shelf)
    app = create_app(shelf, clock=clock, passes=counting, every_minutes=1 / 60)  # type: ignore[arg-type]
    with TestClient(app):
        assert counting.made == 1
        assert app.state.scheduler.running
        assert counting.enough.wait(60), "no third pass"
        assert counting.looked.wait(60), "the config was not looked at"
    assert threading.get_ident() not in counting.threads
    assert not app.state.scheduler.running


def _serve(**given: object) -> Callable[[], None]:
    from planner.service.run import serve

    config = load(ROOT / "config" / "demo.toml")
    week = ROOT / "fixtures" / "demo" / "week.csv"
    return lambda: serve(config, port=None, demo=week, demo_now=NOW, **given)  # type: ignore[arg-type]


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
    host: str, token: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import uvicorn

    asked: dict[str, object] = {}
    monkeypatch.setenv("HAYSEL_TOKEN", token)
    monkeypatch.setattr(uvicorn, "run", lambda app, **named: asked.update(named))
    _serve(host=host)()
    assert asked["host"] == host
    assert "Haysel answers on" in capsys.readouterr().err
