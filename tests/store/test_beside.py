"""Passes that are planned beside those of other sites: seen by all of them, and kept only where nobody was faster."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import UTC, datetime

import pytest

from planner.store.records import Beside, BesideChanged
from planner.store.store import Store

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)
PART = "sprayer barrow"


def keep(store: Store, site: str, *, beside: Mapping[str, int] | None = None, part: str = PART) -> int:
    seen = None if beside is None else Beside(part=PART, passes=beside)
    return store.bound_to(site, "somewhere").keep_pass(NOON, {part: site.encode()}, schema=1, beside=seen)


def test_the_newest_of_every_other_site_is_read(store: Store) -> None:
    keep(store, "north")
    keep(store, "south")
    newest = keep(store, "south")
    keep(store, "west", part="report")
    found = store.bound_to("north", "elsewhere").parts_elsewhere(PART)
    assert {site: (part.number, part.body) for site, part in found.items()} == {"south": (newest, b"south")}
    # One that shares it no longer leaves it free.
    keep(store, "south", part="report")
    assert store.bound_to("north", "elsewhere").parts_elsewhere(PART) == {}


def test_a_pass_planned_beside_an_older_one_is_not_kept(store: Store) -> None:
    first = keep(store, "south")
    newer = keep(store, "south")
    with pytest.raises(BesideChanged):
        keep(store, "north", beside={"south": first})
    with pytest.raises(BesideChanged):
        keep(store, "north", beside={})
    assert store.bound_to("north", "somewhere").newest_pass() is None
    keep(store, "north", beside={"south": newer})
    assert store.bound_to("north", "somewhere").newest_pass() is not None


def test_of_those_that_plan_at_once_each_knows_the_one_before(store: Store) -> None:
    """Six sites at once, each again until it was not overtaken: every pass knew all that were kept before it."""
    names = [f"site{number}" for number in range(6)]
    together = threading.Barrier(len(names))
    known: dict[int, Mapping[str, int]] = {}

    def run(name: str) -> None:
        together.wait(30)
        mine = store.bound_to(name, "somewhere")
        while True:
            seen = {site: part.number for site, part in mine.parts_elsewhere(PART).items()}
            try:
                known[keep(store, name, beside=seen)] = seen
            except BesideChanged:
                continue
            return

    threads = [threading.Thread(target=run, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert [len(known[number]) for number in sorted(known)] == list(range(len(names)))
    for number, seen in known.items():
        assert sorted(seen.values()) == [other for other in sorted(known) if other < number]
