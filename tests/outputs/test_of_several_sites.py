"""Messages of several sites to one receiver: none is dropped as a repeat of another's, and each says whose it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import respx
from msgspec import structs

from planner.actions.messages import morning_message, outgoing
from planner.config.kit_schema import LogPart, MorningPart
from planner.config.load import Config
from planner.outputs.base import Message, deliver
from planner.outputs.webhook import WebhookOutput
from planner.store.records import Outgoing
from planner.store.store import Store
from tests.made import config
from tests.outputs.frost import FROST
from tests.reports.made import NOW, demo, demo_assessment

URL = "https://example.org/turf"
SIX = NOW.replace(hour=6, minute=0)


def site(key: str) -> Config:
    """The demo under another key, with a message of the morning."""
    plain = config(outputs=(LogPart(),), morning=MorningPart(at="06:00"))
    name = plain.site.name if key == "main" else f"Green of {key}"
    return replace(plain, site=replace(plain.site, key=key, name=name))


def messages(key: str) -> list[Outgoing]:
    life, mine = demo_assessment().life, site(key)
    assert life is not None
    return [
        *outgoing(life.news, ["webhook"], NOW, mine.site),
        *morning_message(demo(), mine, SIX + timedelta(hours=0.5)),
    ]


def test_two_sites_send_no_message_under_one_key_and_each_says_whose_it_is() -> None:
    north, south = ([Message.from_dict(row.body) for row in messages(key)] for key in ("north", "south"))
    assert len(north) == len(south) > 2
    assert not {one.key for one in north} & {one.key for one in south}
    assert not {one.title for one in north} & {one.title for one in south}
    assert all("Green of north" in one.title for one in north)


def test_what_a_site_alone_sends_stays_as_its_receivers_know_it() -> None:
    for row in messages("main"):
        message = Message.from_dict(row.body)
        assert message.key == f"{row.warning_id}:{row.change}"
        assert message.kind == "morning" or "Thistlewick" not in message.title


@respx.mock
def test_a_message_that_waited_under_its_old_key_goes_out_under_that_and_is_not_queued_anew() -> None:
    route = respx.post(URL).respond(200)
    with_store = Store.open("sqlite://", site="north")
    (new, *_) = messages("north")
    old = {**new.body, "id": new.warning_id}
    with_store.keep_pass(NOW, {}, schema=1, outbox=[structs.replace(new, body=old)])
    with_store.keep_pass(NOW + timedelta(hours=1), {}, schema=1, outbox=[new])
    deliver(with_store, [WebhookOutput(url=URL)], NOW + timedelta(hours=2))
    with_store.close()
    (call,) = route.calls
    assert call.request.headers["Idempotency-Key"] == f"{new.warning_id}:{new.change}"


def test_a_message_is_kept_under_the_id_of_its_warning() -> None:
    life = demo_assessment().life
    assert life is not None
    assert {row.warning_id for row in messages("north")} >= {one.id for one in life.news}
    assert FROST.for_outputs(["log"], NOW)[0].warning_id == FROST.id
