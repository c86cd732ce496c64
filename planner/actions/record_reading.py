"""From what a keeper tells of water and measurements to a reading that is kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from planner.actions.on_the_spot import Verdict, asked, verdict
from planner.actions.told import AHEAD, past_time, read_as
from planner.config.load import Config
from planner.diary.observations import (
    Observation,
    ObservationInput,
    ObservationRow,
    figures_of,
    observation_row,
)
from planner.errors import Contradiction
from planner.store.records import key_of

if TYPE_CHECKING:
    from planner.store.store import Store


def observation_of(told: ObservationInput, config: Config, now: datetime) -> Observation:
    """The reading that the input makes. InputError or NotKnown for what is wrong."""
    zone = config.site.zone
    at = past_time(told.at, now, zone) if told.at else now
    if at > now + AHEAD:
        raise Contradiction(
            f"{at.astimezone(zone):%Y-%m-%d %H:%M} is still to come; a reading is of what was measured or given."
        )
    surface = config.site.surface(told.surface).name if told.surface else ""
    return Observation(at=at, figures=figures_of(told), surface=surface, note=told.note)


class ObservationAnswer(ObservationRow):
    """A reading, and the verdict where one was asked for."""

    verdict: Verdict | None


def add(
    fields: Mapping[str, object], config: Config, store: Store, now: datetime, *, key: str | None = None
) -> ObservationAnswer:
    """Keeps a reading, and judges the job that is named with it, if one is. With a key (a UUID), sending the
    same again keeps nothing more.
    """
    told, clock = read_as(ObservationInput, fields, "a reading"), now
    question = asked(config, told.job, told.surface) if told.job else None
    if key is not None and not told.at:
        # Sent again without a time it is of the moment it was first sent.
        before = [one for one in store.observations(with_withdrawn=True) if one.uuid == key_of(key)]
        now = before[0].observation.at if before else now
    stored = store.add_observation(observation_of(told, config, now), now, key)
    found = None if question is None else verdict(config, store, stored.observation, *question, clock)
    return {**observation_row(stored, config.site.zone), "verdict": found}
