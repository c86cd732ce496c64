"""Which of several instances of the service works for which site. Each holds its sites for as long as it tells that it
lives; the time is the database's own, so that the clocks of the machines need not agree.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy import Connection, delete, insert, select, text

from planner.store.engine import Database, one_at_a_time
from planner.store.tables import instances, leases

#: Seconds since 1970, as the database's own clock has it.
_NOW = {
    "sqlite": text("select (julianday('now') - 2440587.5) * 86400.0"),
    "postgresql": text("select extract(epoch from clock_timestamp())"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What an instance holds."""

    sites: frozenset[str]
    surplus: frozenset[str]
    """Of these, what is more than its share: to be given back once no work for them is going on."""


class Leases(Database):
    """The leases of every site of a database."""

    def hold(self, instance: str, sites: Sequence[str], lease_s: float) -> Held:
        """Renews what the instance holds of these sites, and takes what is free up to its share; what it then holds.

        All that it holds runs out together, `lease_s` after this. The share is that among the instances that live and
        have the same sites.
        """
        alike = sha256("\n".join(sorted(sites)).encode()).hexdigest()
        with self._writing() as connection:
            one_at_a_time(connection, "leases")
            now_s = float(connection.execute(_NOW[connection.dialect.name]).scalar_one())
            self._renew(connection, instance, alike, now_s, lease_s)
            holder = {row.site: row.instance for row in connection.execute(select(leases))}
            wanted = select(instances.c.id).where(instances.c.sites == alike)
            living = len(connection.execute(wanted).all())
            share = -(-len(sites) // living)
            held = [site for site in sites if holder.get(site) == instance]
            taken = [site for site in sites if site not in holder][: max(0, share - len(held))]
            if taken:
                connection.execute(insert(leases), [{"site": site, "instance": instance} for site in taken])
            return Held(sites=frozenset((*held, *taken)), surplus=frozenset(held[share:]))

    def _renew(self, connection: Connection, instance: str, alike: str, now_s: float, lease_s: float) -> None:
        connection.execute(
            delete(instances).where((instances.c.until < now_s) | (instances.c.id == instance))
        )
        connection.execute(insert(instances).values(id=instance, sites=alike, until=now_s + lease_s))
        connection.execute(delete(leases).where(leases.c.instance.not_in(select(instances.c.id))))

    def give_back(self, instance: str, sites: Collection[str]) -> None:
        """Lets others take these sites, if the instance holds them."""
        with self._writing() as connection:
            one_at_a_time(connection, "leases")
            mine = leases.c.instance == instance
            connection.execute(delete(leases).where(mine, leases.c.site.in_(list(sites))))

    def leave(self, instance: str) -> None:
        """Gives back all that the instance holds, as one that ends by itself does."""
        with self._writing() as connection:
            one_at_a_time(connection, "leases")
            connection.execute(delete(leases).where(leases.c.instance == instance))
            connection.execute(delete(instances).where(instances.c.id == instance))
