"""docs/licences.md: every package of every lock, under the licence it gives itself, and none that would bind ours."""

from __future__ import annotations

import re

from tests.licences import NEEDED, installed, licence, needed, rows

#: They ask for a notice, or for changes to their own files or library: common practice, no source.
FREE = re.compile(r"\b(MIT|BSD|0BSD|Apache|ISC|PSF|MPL|Zlib|CC0|EPL|LGPL)\b")
BINDING = re.compile(r"\bA?GPL\b|General Public", re.IGNORECASE)


def test_every_package_of_every_lock_is_named_with_what_it_is_needed_for() -> None:
    assert {name: what for name, (what, _) in rows().items()} == needed()


def test_each_licence_is_what_the_installed_package_says() -> None:
    looked_at = {name: said for name in rows() if (said := installed(name)) is not None}
    assert {name: licence(said) for name, said in looked_at.items()} == {
        name: rows()[name][1] for name in looked_at
    }
    # With the locks of the README's two commands installed, all but what other systems and extras need.
    assert len(looked_at) > 60


def binds(said: str) -> bool:
    """Whether some part of an `AND` can be had under none but a licence that is not known to leave ours free."""
    parts = [part.split(" OR ") for part in re.split(r" AND |, ", said)]
    return not all(any(FREE.search(one) and not BINDING.search(one) for one in part) for part in parts)


def test_no_licence_binds_our_own() -> None:
    found = rows()
    assert {what for what, _ in found.values()} == set(NEEDED.values())
    assert {name: said for name, (_, said) in found.items() if binds(said)} == {}
    assert [binds(said) for said in ("GPL-3.0-only", "MIT AND AGPL-3.0-only", "", "Proprietary")] == [
        True
    ] * 4
    assert not binds("GPL-2.0-only OR MIT")
