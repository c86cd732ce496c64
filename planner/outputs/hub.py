"""The site as one device of a home-automation hub, by MQTT discovery.

The hub learns of the entities from retained config topics, reads one retained JSON state, and knows from the
availability topic (and the broker's will) whether we are there. Entities of a job that is wanted no more are taken
away. What a graph card draws lies in topics of attributes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from planner.errors import InputError
from planner.outputs.entities import config_of, entities_of
from planner.outputs.line import Hear, Line
from planner.outputs.mqtt import Broker
from planner.reports.ahead import days_ahead, hours_ahead, warnings_ahead, windows_ahead
from planner.reports.now import Now, key_of, now, wanted_jobs
from planner.reports.rows import Report
from planner.terms import slug

#: A hub refuses a longer state.
LONGEST_STATE = 255


class HomeDevice:
    """Keeps the device on a broker. `update` may be called from any thread; `run` is one task."""

    def __init__(
        self,
        broker: Broker,
        *,
        node: str = "haysel",
        prefix: str = "homeassistant",
        birth_topic: str | None = None,
        url: str | None = None,
        version: str = "",
        orders: Hear | None = None,
        with_buttons: bool = False,
    ) -> None:
        """`orders` reads what is sent to the topic `diary/add`; its answers go to `diary/result`.

        `with_buttons` shows a button for each wanted job.
        """
        self._node, self._prefix, self._url, self._version = slug(node), prefix, url, version
        self._with_buttons = with_buttons
        self._line = Line(
            broker,
            own=f"haysel/{self._node}",
            birth_topic=birth_topic or f"{prefix}/status",
            alive_topic=self.topic("availability"),
            tidy=f"{prefix}/+/haysel_{self._node}/+/config",
            hears=None if orders is None else {self.topic("diary/add"): (orders, self.topic("diary/result"))},
        )

    def topic(self, piece: str) -> str:
        """A topic of this site's device: `state`, `availability`, `ahead`, `warnings`, `job/…`, `diary/…`."""
        return f"haysel/{self._node}/{piece}"

    def update(self, report: Report) -> None:
        """Takes the report as it reads now; it is published at once, or when the broker is there."""
        state = self.topic("state")
        self._line.hold(self.topics(report), beats=[state])

    async def run(self) -> None:
        """Until cancelled."""
        await self._line.run()

    def topics(self, report: Report) -> dict[str, str]:
        """All that the broker is to hold of the report."""
        found = {topic: json.dumps(config) for topic, config in self.configs(report).items()}
        plain: dict[str, object] = {
            "warnings": {"warnings": warnings_ahead(report)},
            "ahead": {"hours": hours_ahead(report), "days": days_ahead(report)},
        }
        for row in wanted_jobs(report):
            windows = windows_ahead(report, row)
            plain[f"job/{key_of(row.job, row.surface)}"] = {
                "job": row.job,
                "surface": row.surface,
                "windows": windows,
            }
        found |= {self.topic(piece): json.dumps(value) for piece, value in plain.items()}
        found[self.topic("state")] = json.dumps(flat(now(report)))
        return found

    def configs(self, report: Report) -> dict[str, dict[str, object]]:
        """The discovery config of each entity, by its topic."""
        device: dict[str, object] = {
            "identifiers": [f"haysel_{self._node}"],
            "name": report.site.name,
            "manufacturer": "Haysel",
            "model": "maintenance planner",
        }
        origin: dict[str, object] = {"name": "Haysel"}
        if self._url is not None:
            device["configuration_url"] = self._url
        if self._version:
            device["sw_version"] = origin["sw_version"] = self._version
        return {
            f"{self._prefix}/{one.component}/haysel_{self._node}/{one.key}/config": config_of(
                one, self._node, device, origin
            )
            for one in entities_of(report, with_buttons=self._with_buttons)
        }


def flat(state: Mapping[str, object]) -> Now:
    """The state as a hub can take it: no nesting, no text that is too long, null for what is not known."""
    made: Now = {}
    for key, value in state.items():
        if value is not None and not isinstance(value, str | int | float | bool):
            raise InputError(
                f'The state "{key}" is a {type(value).__name__}; a text, number, yes/no or null fits.'
            )
        if isinstance(value, float) and not math.isfinite(value):
            value = None
        if isinstance(value, str) and len(value) > LONGEST_STATE:
            value = value[: LONGEST_STATE - 1] + "…"
        made[key] = value
    return made
