"""In the hub's own package: each entity is made without a warning, and what is not known is shown unknown.

The package wants versions of its own of much that we use, so it has a Python of its own, named by HAYSEL_TEST_HUB:

    python3.13 -m venv HUB && HUB/bin/pip install pytest-homeassistant-custom-component paho-mqtt jsonpath xmltodict
    HAYSEL_TEST_HUB=HUB/bin/python python -m pytest tests/outputs/test_hub_itself.py
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml
from msgspec.structs import replace

from planner.actions.sent_entry import BROKER, written
from planner.outputs.entities import BUTTON, EXPIRE_AFTER_S, entities_of
from planner.outputs.hub import HomeDevice
from planner.outputs.mqtt import Broker
from planner.page.details import snippets
from planner.reports.as_of import as_of
from planner.reports.now import now as flat_now
from planner.reports.rows import Report
from planner.store.store import Store
from tests.made import DEMO
from tests.reports.made import NOW, bare, demo, not_read_row

HUB = os.environ.get("HAYSEL_TEST_HUB", "")
SESSION = Path(__file__).parent / "hub_session.py"
DEVICE = HomeDevice(
    Broker(host="x"), node="vale", url="http://vale.example:8480/", version="0.2", with_buttons=True
)

FRESH = demo()
#: Nothing is found of what is wanted, no figure is known, and nothing can be ruled out.
NOTHING = bare(
    wanted=FRESH.wanted,
    not_read=(not_read_row("frost", "Frost is not read."), not_read_row("wash", "Wash is not read.")),
)
STALE = as_of(replace(FRESH, warnings=()), NOW + timedelta(hours=20))
FEWER = replace(FRESH, wanted=FRESH.wanted[1:])
ALIVE = {DEVICE.topic("availability"): "online"}
#: What the hub made of the pieces to paste.
REST: list[dict[str, Any]] = []


def gone(before: Report, after: Report) -> dict[str, str]:
    """Topics that are emptied when one report follows the other."""
    return dict.fromkeys(set(DEVICE.configs(before)) - set(DEVICE.configs(after)), "")


@pytest.fixture(scope="module")
def rounds(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    if not HUB:
        pytest.skip("HAYSEL_TEST_HUB names no Python that has the hub's package")
    folder = tmp_path_factory.mktemp("hub")
    shutil.copy(SESSION, folder / "test_session.py")
    told = [
        {"messages": DEVICE.topics(FRESH) | ALIVE, "seconds": 0, "press": True},
        {"messages": DEVICE.topics(NOTHING), "seconds": 0},
        {"messages": DEVICE.topics(STALE), "seconds": 0},
        {"messages": gone(STALE, FEWER) | DEVICE.topics(FEWER), "seconds": 0},
        {"messages": {}, "seconds": EXPIRE_AFTER_S + 1},
        {"messages": DEVICE.topics(FRESH) | {DEVICE.topic("availability"): "offline"}, "seconds": 0},
    ]
    (folder / "rounds.json").write_text(json.dumps(told))
    pieces = {
        one.name: one.text.replace("!secret ", "")
        for one in snippets("http://vale.example:8480", demo().site)
    }
    known, fault = flat_now(FRESH), {"type": "about:blank", "status": 503}
    rest: dict[str, Any] = {
        **yaml.safe_load(pieces["rest"]),
        **yaml.safe_load(pieces["command"]),
        "answers": [json.dumps(one) for one in (known, dict.fromkeys(known), known, fault)],
    }
    (folder / "rest.json").write_text(json.dumps(rest))
    run = subprocess.run(
        [HUB, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-o", "asyncio_mode=auto", "test_session.py"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    found: list[dict[str, Any]] = json.loads((folder / "found.json").read_text())
    REST[:] = json.loads((folder / "rest_found.json").read_text())
    return found


def ids(report: Report, *, buttons: bool = True) -> set[str]:
    return {
        f"haysel_vale_{one.key}"
        for one in entities_of(report, with_buttons=True)
        if buttons or one.component != BUTTON
    }


def test_every_entity_is_made_and_nothing_is_warned_of(rounds: list[dict[str, Any]]) -> None:
    for number, report in enumerate((FRESH, NOTHING, STALE, FEWER)):
        assert rounds[number]["warnings"] == [], number
        assert set(rounds[number]["states"]) == ids(report), number
    assert rounds[0]["devices"] == [
        [FRESH.site.name, "Haysel", "maintenance planner", "0.2", "http://vale.example:8480/"]
    ]


def test_what_is_known_is_shown_with_its_unit(rounds: list[dict[str, Any]]) -> None:
    states, flat = rounds[0]["states"], flat_now(FRESH)
    growth = states["haysel_vale_today_growth_potential"]
    assert float(growth["state"]) == pytest.approx(100 * float(flat["today_growth_potential"] or 0), abs=0.1)
    assert growth["attributes"]["unit_of_measurement"] == "%"
    assert growth["attributes"]["state_class"] == "measurement"
    assert states["haysel_vale_today_soil_temp_c"]["attributes"]["unit_of_measurement"] == "°C"
    assert states["haysel_vale_wanted_rolling_green_state"]["state"] == "steady"
    assert states["haysel_vale_wanted_rolling_green_holds"]["state"] == "off"
    assert states["haysel_vale_stale"]["category"] == "diagnostic"
    assert states["haysel_vale_frost"]["state"] == "on"
    ahead = states["haysel_vale_forecast_until"]["attributes"]
    assert len(ahead["hours"]) == 48
    assert set(ahead["days"][0]) >= {"date", "growth_potential", "frost_risk", "rain_wash_risk"}
    assert states["haysel_vale_wanted_rolling_green_state"]["attributes"]["windows"]


def test_what_is_not_known_is_unknown_in_every_sensor(rounds: list[dict[str, Any]]) -> None:
    flat, shown = flat_now(NOTHING), rounds[1]["states"]
    unknown = [one for one in ids(NOTHING, buttons=False) if flat[one.removeprefix("haysel_vale_")] is None]
    assert len(unknown) > 40
    assert {one: shown[one]["state"] for one in unknown} == dict.fromkeys(unknown, "unknown")
    for key in ("frost", "rain_wash", "warnings_count", "wanted_rolling_green_holds"):
        assert f"haysel_vale_{key}" in unknown, key


def test_a_forecast_too_old_leaves_no_figure_standing(rounds: list[dict[str, Any]]) -> None:
    shown = {one.removeprefix("haysel_vale_"): row["state"] for one, row in rounds[2]["states"].items()}
    assert shown["stale"] == "on"
    assert shown["wanted_rolling_green_state"] == "unread"
    for key in ("frost", "rain_wash", "warnings_count", "wanted_rolling_green_holds"):
        assert shown[key] == "unknown", key
    for key in ("today_growth_potential", "tomorrow_frost_risk", "today_rain_mm", "forecast_until"):
        assert shown[key] == "unavailable", key


def test_silence_and_a_cut_line_make_all_unavailable(rounds: list[dict[str, Any]]) -> None:
    for number in (4, 5):
        states = [row["state"] for one, row in rounds[number]["states"].items() if not one.endswith("_done")]
        assert set(states) == {"unavailable"}, number


def test_a_button_sends_an_entry_that_the_diary_takes(rounds: list[dict[str, Any]]) -> None:
    from planner.config.load import load

    topic, payload = rounds[0]["pressed"]
    assert topic == DEVICE.topic("diary/add")
    store = Store.open("sqlite://")
    answer = written(str(payload).encode(), False, load(DEMO), store, NOW, token="", rule=BROKER)
    assert answer["written"], answer
    assert len(store.entries()) == 1
    store.close()


def test_the_pieces_to_paste_are_taken_and_null_is_no_all_clear(rounds: list[dict[str, Any]]) -> None:
    assert [one["warnings"] for one in REST] == [[]] * 4
    assert all("turf_done" in one["services"] for one in REST)
    first, null, again, fault = (one["states"] for one in REST)
    assert len(first) > 10
    assert first["binary_sensor.turf_frost_warning"] == "on"
    assert "unknown" not in first.values()
    assert again == first
    for states in (null, fault):
        assert states == dict.fromkeys(first, "unavailable")
