"""A command that computes from a forecast file counts the diary of the store, and can leave it out."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from planner.cli.commands import haysel
from planner.config.load import load
from planner.diary.entry import Entry
from planner.store.store import Store
from tests.made import DEMO, ROOT

NOW = datetime.fromisoformat("2026-05-07T06:00:00+01:00")
FILE = str(ROOT / "fixtures" / "demo" / "week.csv")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path / DEMO.name


def fed(site: Path, at: datetime) -> None:
    """A foliar feed on the green in the diary of the store."""
    full = load(site)
    store = Store.open(full.store.url, site=full.site.key, place=full.site.place)
    entry = Entry(job="foliar_feed", kind="spraying", surface="green", started_at=at, finished_at=at)
    store.add_entry(entry, now=at, key=None)
    store.close()


def feeds(site: Path, *words: str) -> list[str]:
    """Days of the week on which the foliar feed is placed."""
    told = ["week", "--json", "--config", str(site), "--forecast", FILE, "--now", NOW.isoformat(), *words]
    found = CliRunner().invoke(haysel, told)
    assert found.exit_code == 0, found.exception or found.output
    return [row["start"][:10] for row in json.loads(found.stdout)["work"] if row["job"] == "foliar_feed"]


def test_the_diary_counts_unless_it_is_left_out(site: Path) -> None:
    assert feeds(site) == ["2026-05-10"]
    # No store is made for a question.
    assert not (site.parent / ".haysel").exists()
    fed(site, NOW - timedelta(hours=18))
    # Fed yesterday and wanted every ten days: nothing of it is due this week.
    assert feeds(site) == []
    assert feeds(site, "--no-diary") == ["2026-05-10"]


def test_what_was_done_later_than_the_moment_asked_for_does_not_count(site: Path) -> None:
    fed(site, NOW + timedelta(hours=18))
    assert feeds(site) == ["2026-05-10"]
