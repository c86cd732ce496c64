"""What may be sent has a longest form, the same by HTTP, by command and in a table; what is kept of it has one, too."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from planner.actions.notebook import import_notebook
from planner.cli.commands import run as main
from planner.config.load import load
from planner.errors import ConfigError, InputError
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service import cache as cache_module
from planner.service.cache import Snapshot
from planner.service.run import demo_app
from planner.store.store import Store
from planner.terms import LONGEST_NAME, LONGEST_NOTE, LONGEST_REASON
from tests.made import DEMO, ROOT
from tests.reports.made import NOW

BEARER = {"Authorization": "Bearer a long secret"}
MOW = {"job": "mow_green", "surface": "green", "started": "04:00", "finished": "05:00"}
LONG = "x" * (LONGEST_NAME + 1)


@pytest.fixture(scope="module")
def http() -> TestClient:
    app = demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", NOW, "a long secret")
    return TestClient(app, client=("127.0.0.1", 50000), base_url="http://localhost")


@pytest.mark.parametrize(
    "address",
    [
        *(f"/api/v1/windows?{name}={LONG}" for name in ("job", "surface", "day")),
        *(f"/api/v1/explain?job=rolling&time=13:00&{name}={LONG}" for name in ("surface",)),
        f"/api/v1/explain?job=rolling&time={LONG}",
        f"/api/v1/explain?job={LONG}&time=13:00",
        f"/api/v1/days?surface={LONG}",
        f"/api/v1/ribbons?job={LONG}",
        *(f"/api/v1/mix?job=foliar_feed&{name}={LONG}" for name in ("surface", "kit", "material", "product")),
        "/api/v1/mix?job=foliar_feed" + "&material=x" * 41,
        *(f"/api/v1/diary?{name}={LONG}" for name in ("since", "until", "job", "surface")),
        *(f"/calendar.ics?{name}={LONG}" for name in ("job", "surface", "kind")),
        *(f"/?{name}={LONG}" for name in ("day", "at")),
    ],
)
def test_a_question_that_is_too_long_is_refused(http: TestClient, address: str) -> None:
    answer = http.get(address)
    assert answer.status_code == 422, answer.text[:200]
    assert "at most" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("field", "most"),
    [
        ("notes", LONGEST_NOTE),
        ("target", LONGEST_NOTE),
        ("operator", LONGEST_NAME),
        ("started", LONGEST_NAME),
        ("finished", LONGEST_NAME),
    ],
)
def test_a_field_that_is_too_long_is_refused_by_every_door(
    http: TestClient, tmp_path: Path, field: str, most: int
) -> None:
    too_long = {**MOW, field: "x" * (most + 1)}
    answer = http.post("/api/v1/diary", json=too_long, headers=BEARER)
    assert (answer.status_code, f"at most {most} characters" in answer.json()["detail"]) == (400, True)
    if field in ("notes", "target", "operator"):
        assert http.post("/api/v1/diary", json={**MOW, field: "x" * most}, headers=BEARER).status_code == 201
        table = tmp_path / "notebook.csv"
        table.write_text(f"date,job,surface,{field}\n2026-05-01,mow_green,green,{'x' * (most + 1)}\n")
        with pytest.raises(ConfigError, match=f"at most {most}"):
            import_notebook(table, load(DEMO), Store.open("sqlite://"), NOW)


def test_a_reason_that_is_too_long_is_refused_by_http_and_by_command(
    http: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = http.post("/api/v1/diary", json=MOW, headers=BEARER).headers["location"]
    reason = "x" * (LONGEST_REASON + 1)
    assert http.delete(f"{place}?reason={reason}", headers=BEARER).status_code == 422
    assert http.patch(f"{place}?reason={reason}", json={}, headers=BEARER).status_code == 422
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    site = ["--config", str(tmp_path / DEMO.name)]
    work = ["mow_green", "green", "--to", "2026-05-06T05:00+01:00"]
    assert main(["diary", "add", *work, "--json", *site]) == 0
    number = json.loads(capsys.readouterr().out)["uuid"]
    assert main(["diary", "edit", number, "--notes", "wet", "--reason", reason, *site]) == 2
    assert main(["diary", "withdraw", number, "--reason", reason, *site]) == 2
    assert capsys.readouterr().err.count(f"{LONGEST_REASON} are kept") == 2


def test_a_table_that_is_too_long_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table, config, store = tmp_path / "notebook.csv", load(DEMO), Store.open("sqlite://")
    table.write_text('date,job,surface,notes\n2026-05-01,mow_green,green,"' + "x" * 200_000)
    with pytest.raises(ConfigError, match="no line of a table"):
        import_notebook(table, config, store, NOW)
    monkeypatch.setattr("planner.actions.notebook._MOST_BYTES", 1000)
    with pytest.raises(InputError, match="Import it in parts"):
        import_notebook(table, config, store, NOW)


def test_what_is_kept_of_one_report_is_bounded(
    monkeypatch: pytest.MonkeyPatch, report: Report, workings: Workings
) -> None:
    monkeypatch.setattr(cache_module, "_MOST_BYTES_KEPT", 1000)
    snapshot = Snapshot(report, workings)
    for number in range(50):
        assert snapshot.item((str(number),), "text/plain", lambda _: b"x" * 100).body == b"x" * 100
    assert sum(snapshot.drawn((str(number),)) is not None for number in range(50)) == 10


def test_a_page_is_not_kept_for_each_name_it_is_asked_by(http: TestClient) -> None:
    shown = {http.get("/help", headers={"Host": f"a{number}.localhost"}).text for number in range(3)}
    assert len(shown) == 3
