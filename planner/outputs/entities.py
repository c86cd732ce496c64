"""The entities of the site's device, and what a hub is told of each by MQTT discovery.

Fields and their rules are those of the hub's own documents (home-assistant.io: MQTT, MQTT sensor, MQTT binary
sensor, MQTT button); `tests/outputs/test_hub_itself.py` holds them against its own package. A value that is not
known is sent as `None`, which the hub shows as unknown; a figure of the weather is unavailable when the forecast is
too old.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from planner.reports.now import key_of, wanted_jobs
from planner.reports.rows import JobRow, Report
from planner.reports.sentences import job_on
from planner.terms import STATE_WORDS, first_up

SENSOR, YES_NO, BUTTON = "sensor", "binary_sensor", "button"
STATES = tuple(STATE_WORDS)
#: Unavailable after this long without a state: five times the beat of the service.
EXPIRE_AFTER_S = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Entity:
    """One entity of the device, read from one key of the flat state."""

    key: str
    name: str
    component: str = SENSOR
    device_class: str | None = None
    unit: str | None = None
    state_class: str | None = None
    options: tuple[str, ...] = ()
    icon: str | None = None
    precision: int | None = None
    diagnostic: bool = False
    """About the service and its forecast, not about the turf."""
    of_forecast: bool = False
    """A figure that a forecast too old says nothing of."""
    attributes: str | None = None
    """The piece of the topic that holds its attributes."""
    order: str | None = None
    """Of a button: the template of what it sends."""


def _figure(key: str, name: str, unit: str | None, icon: str, **more: Any) -> Entity:
    more = {"state_class": "measurement", "precision": 1, "of_forecast": True, **more}
    return Entity(key=key, name=name, unit=unit, icon=icon, **more)


def _share(key: str, name: str, icon: str) -> Entity:
    return _figure(key, name, "%", icon, precision=0)


#: What every site has. Keys, and so the ids in the hub, stay as they are.
ENTITIES: tuple[Entity, ...] = (
    Entity(key="headline", name="Headline", icon="mdi:text-short"),
    Entity(key="next_job", name="Next job", icon="mdi:clipboard-text-clock"),
    Entity(key="next_start", name="Next job starts", device_class="timestamp"),
    Entity(key="next_state", name="State of the next job", device_class="enum", options=STATES),
    Entity(key="spraying_next_job", name="Next spray", icon="mdi:spray"),
    Entity(key="spraying_next_start", name="Next spray starts", device_class="timestamp"),
    Entity(key="spraying_latest_start", name="Next spray, start by", device_class="timestamp"),
    Entity(key="spraying_state", name="State of the next spray", device_class="enum", options=STATES),
    Entity(key="warning", name="Warning", icon="mdi:alert-outline", attributes="warnings"),
    Entity(key="warnings_count", name="Warnings", icon="mdi:counter", state_class="measurement"),
    Entity(key="frost", name="Frost warning", component=YES_NO, device_class="cold"),
    Entity(key="rain_wash", name="Rain wash warning", component=YES_NO, device_class="safety"),
    _share("today_growth_potential", "Growth potential today", "mdi:sprout"),
    _share("today_rain_wash_risk", "Share of seed at risk today", "mdi:weather-pouring"),
    _share("today_frost_risk", "Frost risk of last night", "mdi:snowflake-alert"),
    _share("tomorrow_frost_risk", "Frost risk tonight", "mdi:snowflake-alert"),
    _figure(
        "today_soil_temp_c", "Soil temperature today", "°C", "mdi:thermometer", device_class="temperature"
    ),
    _figure("today_rain_mm", "Rain today", "mm", "mdi:weather-rainy", device_class="precipitation"),
    Entity(
        key="forecast_until",
        name="Forecast until",
        device_class="timestamp",
        of_forecast=True,
        attributes="ahead",
    ),
    Entity(key="issued_at", name="Forecast issued", device_class="timestamp", diagnostic=True),
    Entity(key="fetched_at", name="Forecast fetched", device_class="timestamp", diagnostic=True),
    Entity(key="stale_at", name="Forecast too old from", device_class="timestamp", diagnostic=True),
    Entity(key="stale", name="Forecast too old", component=YES_NO, device_class="problem", diagnostic=True),
    Entity(key="made_at", name="Last pass", device_class="timestamp", diagnostic=True),
    Entity(key="fault", name="Fault", icon="mdi:wrench-clock", diagnostic=True),
)


def entities_of(report: Report, *, with_buttons: bool) -> tuple[Entity, ...]:
    """Those of every site, and those of each wanted job: state, start, hours until, chance, holds now."""
    found = [*ENTITIES]
    for row in wanted_jobs(report):
        found += _of_job(row, with_buttons)
    return tuple(found)


def _of_job(row: JobRow, with_buttons: bool) -> Iterable[Entity]:
    piece = key_of(row.job, row.surface)
    key, name = f"wanted_{piece}", first_up(job_on(row.label, row.surface))
    yield Entity(
        key=f"{key}_state",
        name=name,
        device_class="enum",
        options=STATES,
        icon="mdi:calendar-check",
        attributes=f"job/{piece}",
    )
    yield Entity(key=f"{key}_start", name=f"{name}: next start", device_class="timestamp")
    yield Entity(
        key=f"{key}_hours_until",
        name=f"{name}: hours until",
        device_class="duration",
        unit="h",
        state_class="measurement",
        precision=1,
        of_forecast=True,
    )
    yield _share(f"{key}_chance", f"{name}: chance", "mdi:percent")
    yield _share(f"{key}_share", f"{name}: share of members", "mdi:percent-outline")
    yield Entity(
        key=f"{key}_holds", name=f"{name}: holds now", component=YES_NO, icon="mdi:check-circle-outline"
    )
    if with_buttons:
        # The minute is in the key, so that a press that comes twice is one entry.
        order = {"key": f"{piece} PRESSED", "entry": {"job": row.job, "surface": row.surface}}
        pressed = "{{ now().strftime('%Y-%m-%dT%H:%M') }}"
        yield Entity(
            key=f"{key}_done",
            name=f"{name}: done now",
            component=BUTTON,
            icon="mdi:notebook-check",
            order=json.dumps(order).replace("PRESSED", pressed, 1),
        )


def config_of(
    entity: Entity, node: str, device: Mapping[str, object], origin: Mapping[str, object]
) -> dict[str, object]:
    """What the hub is told of an entity of that node; its topics begin with `haysel/NODE/`."""
    alive: list[dict[str, str]] = [{"topic": f"haysel/{node}/availability"}]
    state = f"haysel/{node}/state"
    if entity.of_forecast:
        alive.append({"topic": state, "value_template": "{{ 'offline' if value_json.stale else 'online' }}"})
    config: dict[str, object] = {
        "name": entity.name,
        "unique_id": f"haysel_{node}_{entity.key}",
        "availability": alive,
        "availability_mode": "all",
        "device": device,
        "origin": origin,
        "device_class": entity.device_class,
        "icon": entity.icon,
        "entity_category": "diagnostic" if entity.diagnostic else None,
    }
    if entity.component == BUTTON:
        config |= {"command_topic": f"haysel/{node}/diary/add", "command_template": entity.order, "qos": 1}
    else:
        config |= {
            "state_topic": state,
            "value_template": _template(entity),
            "expire_after": EXPIRE_AFTER_S,
            "unit_of_measurement": entity.unit,
            "state_class": entity.state_class,
            "options": list(entity.options) or None,
            "suggested_display_precision": entity.precision,
        }
    if entity.attributes is not None:
        config["json_attributes_topic"] = f"haysel/{node}/{entity.attributes}"
    return {key: value for key, value in config.items() if value is not None}


def _template(entity: Entity) -> str:
    """What is not known is the text None, never off and never nought."""
    value = f"value_json.{entity.key}"
    if entity.component == YES_NO:
        return f"{{{{ 'None' if {value} is none else ('ON' if {value} else 'OFF') }}}}"
    if entity.unit == "%":
        return f"{{{{ 'None' if {value} is none else (100 * {value}) | round(1) }}}}"
    return f"{{{{ {value} }}}}"
