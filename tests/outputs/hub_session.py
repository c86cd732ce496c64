"""Run by the hub's own Python (see test_hub_itself.py), in a folder with rounds.json: what the hub makes of messages.

Each round is messages by topic, then seconds that pass. After each the states of all entities are written down, with
what the hub had to warn of.
"""

from __future__ import annotations

import json
import logging
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from homeassistant.components.rest.data import RestData
from homeassistant.helpers import device_registry, entity_registry
from homeassistant.setup import async_setup_component
from homeassistant.util import dt as dt_util
from pytest_homeassistant_custom_component.common import async_fire_mqtt_message, async_fire_time_changed


@pytest.fixture
def expected_lingering_timers() -> bool:
    """What is polled goes on being polled when the session ends."""
    return True


async def test_rounds(hass: Any, mock_hass_config: None, mqtt_mock_entry: Any, caplog: Any) -> None:
    caplog.set_level(logging.WARNING)
    mqtt = await mqtt_mock_entry()
    caplog.clear()
    found: list[dict[str, Any]] = []
    for one in json.loads(Path("rounds.json").read_text()):
        for topic, payload in one["messages"].items():
            async_fire_mqtt_message(hass, topic, payload)
            await hass.async_block_till_done()
        if one["seconds"]:
            async_fire_time_changed(hass, dt_util.utcnow() + timedelta(seconds=one["seconds"]))
            await hass.async_block_till_done()
        pressed = None
        if one.get("press"):
            mqtt.async_publish.reset_mock()
            button = next(row for row in hass.states.async_all("button"))
            await hass.services.async_call("button", "press", {"entity_id": button.entity_id}, blocking=True)
            pressed = list(mqtt.async_publish.call_args.args[:2])
        ids = entity_registry.async_get(hass)
        found.append(
            {
                "states": {
                    ids.async_get(row.entity_id).unique_id: {
                        "state": row.state,
                        "attributes": json.loads(json.dumps(dict(row.attributes), default=str)),
                        "category": str(ids.async_get(row.entity_id).entity_category or ""),
                    }
                    for row in hass.states.async_all()
                    if ids.async_get(row.entity_id) is not None
                },
                "devices": [
                    [row.name, row.manufacturer, row.model, row.sw_version, row.configuration_url]
                    for row in device_registry.async_get(hass).devices.values()
                ],
                "pressed": pressed,
                "warnings": [
                    f"{row.name}: {row.getMessage()}"
                    for row in caplog.records
                    # A busy machine is slow, which is no fault of a message.
                    if row.levelno >= logging.WARNING and row.name != "asyncio"
                ],
            }
        )
        caplog.clear()
    Path("found.json").write_text(json.dumps(found))


async def test_rest(hass: Any, caplog: Any, monkeypatch: Any) -> None:
    """The REST sensors of rest.json on each of its answers."""
    caplog.set_level(logging.WARNING)
    told = json.loads(Path("rest.json").read_text())
    answers = iter(told["answers"])

    async def update(self: Any, *_: Any, **__: Any) -> None:
        self.data, self.headers = next(answers), {"content-type": "application/json"}

    monkeypatch.setattr(RestData, "async_update", update)
    assert await async_setup_component(hass, "rest", {"rest": told["rest"]})
    assert await async_setup_component(hass, "rest_command", {"rest_command": told["rest_command"]})
    await hass.async_block_till_done()
    found = []
    for number in range(len(told["answers"])):
        if number:
            async_fire_time_changed(hass, dt_util.utcnow() + timedelta(seconds=61 * number))
            await hass.async_block_till_done()
        found.append(
            {
                "states": {row.entity_id: row.state for row in hass.states.async_all()},
                "services": list(hass.services.async_services().get("rest_command", {})),
                "warnings": [
                    f"{row.name}: {row.getMessage()}"
                    for row in caplog.records
                    if row.levelno >= logging.WARNING and row.name != "asyncio"
                ],
            }
        )
        caplog.clear()
    Path("rest_found.json").write_text(json.dumps(found))
