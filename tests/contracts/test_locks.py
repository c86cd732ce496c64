"""The locks: each holds what its extras ask for, with hashes, in the same versions, and names no registry."""

from __future__ import annotations

import re
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.made import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
#: Lock -> the extras it is made with.
LOCKS = {
    ".requirements.lock": (),
    ".requirements-extras.lock": ("mqtt", "postgres", "notify", "fleet"),
    ".requirements-test.lock": ("test",),
    ".requirements-dev.lock": ("dev", "test"),
}
PIN = re.compile(r"^([A-Za-z0-9_.-]+)(?:\[[^]]*\])?==([^ ;\\]+)")


def pins(lock: str) -> dict[str, str]:
    found = (PIN.match(line) for line in (ROOT / lock).read_text(encoding="utf-8").splitlines())
    return {canonicalize_name(one[1]): one[2] for one in found if one}


def test_every_lock_and_every_extra_is_looked_at():
    assert set(LOCKS) == {path.name for path in ROOT.glob(".requirements*.lock")}
    assert {extra for extras in LOCKS.values() for extra in extras} == set(EXTRAS)


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_what_the_project_and_its_extras_ask_for(lock):
    pinned = pins(lock)
    asked = [*PROJECT["dependencies"], *(one for extra in LOCKS[lock] for one in EXTRAS[extra])]
    for requirement in map(Requirement, asked):
        name = canonicalize_name(requirement.name)
        assert name in pinned, f"{lock} lacks {name}: renew it as DEVELOPERS.md says"
        assert requirement.specifier.contains(pinned[name]), f"{lock}: {name} {pinned[name]}"
        # What an extra of a package brings, such as the binary of psycopg.
        for extra in requirement.extras:
            assert f"{name}-{extra}" in pinned, f"{lock}: {requirement}"


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_has_its_hashes_and_no_registry_is_named(lock):
    text = (ROOT / lock).read_text(encoding="utf-8")
    entries = re.split(r"\n(?=\S)", text.strip())
    assert all(PIN.match(entry) for entry in entries)
    assert len(entries) > 20
    assert all(re.search(r"--hash=sha256:[0-9a-f]{64}", entry) for entry in entries)
    assert not re.search(r"://|^ *--(?!hash=)", text, re.MULTILINE)


@pytest.mark.parametrize("lock", [lock for lock in LOCKS if lock != ".requirements.lock"])
def test_a_package_has_the_same_version_in_every_lock(lock):
    ours, dev = pins(lock), pins(".requirements-dev.lock")
    plain = pins(".requirements.lock")
    assert set(plain) <= set(ours)
    for known in (plain, dev):
        assert {name: ours[name] for name in set(ours) & set(known)} == {
            name: known[name] for name in set(ours) & set(known)
        }
