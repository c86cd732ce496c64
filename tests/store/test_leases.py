"""Leases on sites: shared among those that live, taken up when one dies, by the database's clock."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import update

from planner.store.leases import Held, Leases
from planner.store.store import Store
from planner.store.tables import instances

SITES = [f"green-{number}" for number in range(7)]


@pytest.fixture
def leases(store: Store) -> Iterator[Leases]:
    return Leases(store._engine)


def hold(leases: Leases, instance: str, sites: list[str] = SITES) -> Held:
    return leases.hold(instance, sites, 3600)


def dies(leases: Leases, instance: str) -> None:
    """It has not told for longer than its lease that it lives."""
    with leases._writing() as connection:
        connection.execute(update(instances).where(instances.c.id == instance).values(until=0.0))


def test_one_alone_holds_all_and_keeps_it(leases: Leases) -> None:
    for _ in range(2):
        found = hold(leases, "a")
        assert (found.sites, found.surplus) == (frozenset(SITES), frozenset())


def test_a_second_gets_its_share_once_the_first_has_given_it_back(leases: Leases) -> None:
    hold(leases, "a")
    assert hold(leases, "b").sites == frozenset()
    first = hold(leases, "a")
    assert len(first.surplus) == 3
    assert hold(leases, "b").sites == frozenset()
    leases.give_back("a", first.surplus)
    second = hold(leases, "b")
    assert second.sites == first.surplus
    again = hold(leases, "a")
    assert again.sites == frozenset(SITES) - second.sites
    assert again.surplus == frozenset()


def test_the_sites_of_one_that_died_are_taken_up_by_the_others(leases: Leases) -> None:
    hold(leases, "a")
    dies(leases, "a")
    assert hold(leases, "b").sites == frozenset(SITES)
    # It lives after all: it has lost them, and gets no more than what is given back.
    assert hold(leases, "a").sites == frozenset()


def test_one_that_ends_by_itself_leaves_its_sites_at_once(leases: Leases) -> None:
    hold(leases, "a")
    leases.leave("a")
    assert hold(leases, "b").sites == frozenset(SITES)


def test_nobody_gives_back_what_is_anothers(leases: Leases) -> None:
    hold(leases, "a")
    leases.give_back("b", SITES)
    assert hold(leases, "a").sites == frozenset(SITES)
    assert hold(leases, "b").sites == frozenset()


def test_instances_of_other_sites_take_no_share(leases: Leases) -> None:
    """Else a site of one folder would wait for an instance that has it, and there is none."""
    assert hold(leases, "of another folder", ["tee"]).sites == {"tee"}
    assert hold(leases, "a").sites == frozenset(SITES)


def test_many_at_once_never_hold_a_site_together(store: Store, leases: Leases) -> None:
    together = threading.Barrier(4)

    def work(instance: str) -> frozenset[str]:
        together.wait(60)
        return hold(leases, instance).sites

    with ThreadPoolExecutor(4) as pool:
        held = list(pool.map(work, "abcd"))
    assert sum(map(len, held)) == len(frozenset[str]().union(*held))
    # Whoever came first may hold more than its share by now.
    for _ in range(2):
        for instance in "abcd":
            leases.give_back(instance, hold(leases, instance).surplus)
    held = [hold(leases, instance).sites for instance in "abcd"]
    assert sorted(map(len, held)) == [1, 2, 2, 2]
    assert frozenset[str]().union(*held) == frozenset(SITES)


def test_a_store_on_a_server_has_leases_and_a_file_needs_none(sqlite_url: str, postgres_url: str) -> None:
    for url, needed in ((sqlite_url, False), (postgres_url, True)):
        opened = Store.open(url)
        assert (opened.leases() is not None) == needed
        opened.close()
