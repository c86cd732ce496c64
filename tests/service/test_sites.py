"""Several sites in one installation: each as it would be alone, none in another's way."""

from __future__ import annotations

import json
import math
import os
import re
import shutil
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from msgspec.structs import replace
from prometheus_client.parser import text_string_to_metric_families

from planner.actions.stored import stored_pass
from planner.cli.commands import run as main
from planner.cli.many_sites import passes
from planner.config.folder import load_sites, site_files, sprayer_notes
from planner.config.load import Config
from planner.errors import ConfigError, InputError
from planner.page.sites import site_line, sites
from planner.reports.rows import Report, WeekRow
from planner.reports.workings import Workings
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.pages import draw_at_once
from planner.service.proxies import behind
from planner.service.sites import Housed, house
from planner.store.store import Store
from tests.forecast.conftest import Service, reply, service
from tests.forecast.payloads import open_meteo, raw
from tests.made import with_few_jobs
from tests.service.conftest import Clock

__all__ = ["service"]


def _folder(at: Path, *keys: str, url: str = "", more: str = "") -> Path:
    """A folder with the demo's site under these keys, and the rules beside it."""
    at.mkdir(exist_ok=True)
    few = with_few_jobs(at / "shipped")
    for name in ("rules.toml", "materials.toml"):
        shutil.copy(few / name, at / name)
    text = (few / "demo.toml").read_text(encoding="utf-8")
    shutil.rmtree(few)
    for key in keys:
        own = text.replace('name = "Thistlewick Vale"', f'name = "Green of {key}"\nkey = "{key}"')
        own = re.sub(r'^url = "sqlite[^"]*"', f'url = "sqlite:///{at / "kept.db"}"', own, flags=re.MULTILINE)
        if url:
            own = own.replace("[store]", f'[forecast.open-meteo]\nbase_url = "{url}"\n\n[store]')
        (at / f"{key}.toml").write_text(own + more, encoding="utf-8")
    return at


@pytest.fixture
def client(clock: Clock, report: Report, workings: Workings) -> TestClient:
    """Two sites with a pass, and one that waits for its first."""
    housed = {}
    for key, name in (("north", "North green"), ("south", "South & <green>"), ("new", "New green")):
        cache = ReportCache(clock, draw_at_once)
        if key != "new":
            cache.put(replace(report, site=replace(report.site, key=key, name=name)), workings)
        housed[key] = Housed(key=key, name=name, app=create_app(cache, clock=clock), cache=cache)
    return TestClient(
        behind(house(housed, clock=clock), prefix="", trusted=("testclient",)), follow_redirects=False
    )


def test_the_root_names_every_site_with_its_three_lines(client: TestClient) -> None:
    text = client.get("/").text
    assert text.count("Cover the seed, apron strip") == 2
    assert "No forecast yet." in text
    assert "South &amp; &lt;green&gt;" in text
    for key in ("north", "south", "new"):
        assert f'href="./sites/{key}/"' in text
    rows = client.get("/api/v1/sites").json()["sites"]
    assert [(row["key"], row["stale"]) for row in rows] == [("north", False), ("south", False), ("new", None)]


@pytest.mark.parametrize("head", [{}, {"x-forwarded-prefix": "/turf"}])
def test_a_site_answers_below_its_key_as_it_would_alone(client: TestClient, head: dict[str, str]) -> None:
    with client:
        page = client.get("/sites/north/", headers=head)
        assert (page.status_code, "North green" in page.text) == (200, True)
        links = set(re.findall(r'href="([^"#]*)', page.text))
        assert links
        assert not [link for link in links if link.startswith("/")]
        for address in ("ground", "job/foliar_feed", "day/2026-05-09", "sheet", "api/v1/now", "calendar.ics"):
            assert client.get(f"/sites/north/{address}", headers=head).status_code == 200, address
        assert client.get("/sites/south/api/v1/days").json()["site"]["key"] == "south"
        assert client.get("/sites/north/api/v1/days").json()["site"]["key"] == "north"
        slashless = client.get("/sites/north", headers=head)
        assert (slashless.status_code, slashless.headers["location"]) == (308, "north/")


def test_a_site_that_is_not_there_is_told_with_the_nearest(client: TestClient) -> None:
    answer = client.get("/sites/nort/")
    assert (answer.status_code, "north" in answer.json()["detail"]) == (404, True)
    # What is asked of one site only is not there for all.
    assert client.get("/api/v1/now").status_code == 404


def test_health_is_that_of_all(client: TestClient) -> None:
    answer = client.get("/health")
    assert (answer.status_code, answer.json()) == (
        503,
        {"healthy": False, "sites": {"north": True, "south": True, "new": False}},
    )


def test_the_root_has_the_gauges_of_every_site_by_its_label(client: TestClient, clock: Clock) -> None:
    answer = client.get("/metrics")
    assert answer.status_code == 200
    found: dict[str, dict[str, float]] = {}
    for family in text_string_to_metric_families(answer.text):
        for sample in family.samples:
            found.setdefault(sample.name, {})[sample.labels["site"]] = sample.value
    passed = found["haysel_pass_timestamp_seconds"]
    assert passed["north"] == passed["south"] == clock.now.timestamp()
    # A site that waits for its first pass is missed, and keeps no other from being read.
    assert math.isnan(passed["new"])
    alone = {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(client.get("/sites/north/metrics").text)
        for sample in family.samples
    }
    joined = {
        (sample.name, *sorted((name, value) for name, value in sample.labels.items() if name != "site"))
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
        if sample.labels["site"] == "north"
    }
    assert joined == set(alone)


def test_two_sites_share_no_event_of_a_calendar(client: TestClient) -> None:
    north, south = (
        set(re.findall(r"^UID:(.*)$", client.get(f"/sites/{key}/calendar.ics?all=1").text, re.MULTILINE))
        for key in ("north", "south")
    )
    assert len(north) == len(south) > 5
    assert not north & south


def test_a_folder_is_read_site_by_site(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "sites", "north", "south")
    (folder / "notes.toml").write_text('said = "no site"\n', encoding="utf-8")
    assert [config.site.key for config in load_sites(folder)] == ["north", "south"]
    assert [path.stem for path in site_files(folder)] == ["north", "south"]


def test_what_sites_cannot_share_is_refused(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "sites", "north")
    shutil.copy(folder / "north.toml", folder / "other.toml")
    with pytest.raises(InputError, match="both have"):
        load_sites(folder)
    folder = _folder(tmp_path / "ports", "a", "b")
    other = folder / "b.toml"
    other.write_text(
        other.read_text(encoding="utf-8").replace("port = 8480", "port = 9000"), encoding="utf-8"
    )
    with pytest.raises(InputError, match="differs"):
        load_sites(folder)
    with pytest.raises(InputError, match="no site file"):
        load_sites(_folder(tmp_path / "empty"))


@pytest.mark.parametrize(
    ("part", "what"),
    [
        ("[home]\nhost = {host}\n{node}", r"\[home\]"),
        ('[[outputs]]\nkind = "mqtt"\nhost = {host}\n{node}', "an output"),
    ],
)
def test_sites_on_one_broker_have_a_node_each(tmp_path: Path, part: str, what: str) -> None:
    """Else each takes the topics of the other for its own, and tidies them away."""

    def folder(name: str, *given: tuple[str, str]) -> Path:
        made = _folder(tmp_path / name, "a", "b")
        for file, (host, node) in zip(("a.toml", "b.toml"), given, strict=True):
            text = part.format(host=f'"{host}"', node=f'node = "{node}"' if node else "")
            with (made / file).open("a", encoding="utf-8") as open_:
                open_.write(f"\n{text}\n")
        return made

    with pytest.raises(InputError, match=f"{what} of .*give each its own node"):
        load_sites(folder("both_left_out", ("hub.lan", ""), ("hub.lan", "")))
    with pytest.raises(InputError, match="own node"):
        load_sites(folder("alike", ("hub.lan", "north green"), ("HUB.lan", "North_Green")))
    assert len(load_sites(folder("apart", ("hub.lan", "north"), ("hub.lan", "south")))) == 2
    assert len(load_sites(folder("brokers", ("one.lan", ""), ("two.lan", "")))) == 2


def test_the_faults_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "sites", "a", "b", "c")
    for key in ("a", "c"):
        file = folder / f"{key}.toml"
        file.write_text(
            file.read_text(encoding="utf-8").replace("latitude_deg = 51.62", "latitude_deg = 151.62")
        )
    with pytest.raises(ConfigError) as found:
        load_sites(folder)
    assert "a.toml" in str(found.value)
    assert "c.toml" in str(found.value)
    assert "b.toml" not in str(found.value)


def test_a_fault_of_our_own_in_one_site_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = _folder(tmp_path / "sites", "north", "south")

    def broken(config: Config, *_: object, **__: object) -> None:
        raise ZeroDivisionError(config.site.key)

    monkeypatch.setattr("planner.cli.many_sites.run", broken)
    found = list(passes(site_files(folder), 1))
    assert [one.key for one in found] == ["north", "south"]
    assert all("ZeroDivisionError" in one.faults[0] and one.made_at is None for one in found)


def test_a_process_that_is_killed_is_told_of_its_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = _folder(tmp_path / "sites", "north")
    monkeypatch.setattr("planner.cli.many_sites.site_pass", _dies)
    (found,) = passes(site_files(folder), 2)
    assert (found.key, found.made_at) == ("north", None)
    assert "BrokenProcessPool" in found.faults[0]


def _dies(_: Path) -> None:
    os._exit(9)


@pytest.mark.parametrize("processes", [1, 2])
def test_a_pass_of_every_site_and_one_that_fails_stops_no_other(
    tmp_path: Path, service: Service, processes: int, capsys: pytest.CaptureFixture[str]
) -> None:
    start = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    here = {"latitude": 51.62, "longitude": -2.21, "elevation": 118.0}
    service.says(reply(raw(open_meteo(96, start=start) | here)))
    folder = _folder(tmp_path / "sites", "north", "south", "west", url=service.url)
    west = folder / "west.toml"
    text = west.read_text(encoding="utf-8").replace(service.url, "http://127.0.0.1:9")
    west.write_text(text.replace("[forecast]\n", "[forecast]\nbudget_s = 1.5\n"), encoding="utf-8")
    found = {
        one.key: one
        for one in passes([folder / f"{key}.toml" for key in ("north", "south", "west")], processes)
    }
    assert set(found) == {"north", "south", "west"}
    for key in ("north", "south"):
        assert found[key].made_at is not None, found[key].faults
        assert found[key].headline
    assert found["west"].made_at is None
    assert found["west"].faults
    # Kept apart in one store: each is read back by its own file.
    assert main(["days", "--json", "--config", str(folder / "south.toml")]) == 0
    assert json.loads(capsys.readouterr().out)["site"]["key"] == "south"
    assert main(["days", "--config", str(west)]) == 3


def _shared(folder: Path, *keys: str) -> None:
    """These sites share the barrow sprayer."""
    for key in keys:
        file = folder / f"{key}.toml"
        text = file.read_text(encoding="utf-8")
        file.write_text(
            text.replace("tank_l = 60", "shared = true\nmove_min = 30\ntank_l = 60"), encoding="utf-8"
        )


@pytest.mark.parametrize("processes", [1, 2])
def test_a_sprayer_that_sites_share_is_never_in_two_places(
    tmp_path: Path, service: Service, processes: int
) -> None:
    """Also where both are planned at the same moment, in processes of their own."""
    start = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(days=3)
    here = {"latitude": 51.62, "longitude": -2.21, "elevation": 118.0}
    service.says(reply(raw(open_meteo(24 * 10, start=start) | here)))
    folder = _folder(tmp_path / "sites", "north", "south", url=service.url)
    _shared(folder, "north", "south")
    for _ in range(2):
        assert all(one.made_at for one in passes(site_files(folder), processes))
        weeks = {config.site.key: _week_of(config) for config in load_sites(folder)}
        sprays = {key: [row for row in week.work if row.kind == "spraying"] for key, week in weeks.items()}
        assert all(sprays.values())
        way = timedelta(minutes=30)
        for one, other in product(sprays["north"], sprays["south"]):
            assert one.end + way <= other.start or other.end + way <= one.start
    # Whoever was planned last says where the sprayer is meanwhile.
    last = weeks["south"] if processes == 1 else max(weeks.values(), key=lambda week: len(week.elsewhere))
    assert {row.what for row in last.elsewhere} == {"barrow sprayer"}
    if processes == 1:
        assert [(row.site, row.start) for row in last.elsewhere] == [
            ("Green of north", row.start) for row in sprays["north"]
        ]


def _week_of(config: Config) -> WeekRow:
    with closing(Store.open(config.store.url, site=config.site.key, place=config.site.place)) as store:
        found = stored_pass(store)
    assert found is not None
    return found[0].week


def test_a_shared_sprayer_wants_a_shared_store(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "sites", "north", "south")
    _shared(folder, "north", "south")
    load_sites(folder)
    south = folder / "south.toml"
    south.write_text(south.read_text(encoding="utf-8").replace("kept.db", "own.db"), encoding="utf-8")
    with pytest.raises(InputError, match="share the sprayer"):
        load_sites(folder)


def test_a_slip_in_a_shared_sprayer_is_told(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "sites", "north", "south")
    _shared(folder, "north", "south")
    south = folder / "south.toml"
    whole = south.read_text(encoding="utf-8")

    def told(old: str, new: str) -> list[str]:
        assert old in whole
        south.write_text(whole.replace(old, new, 1), encoding="utf-8")
        return [one.replace(f"{folder}/", "") for one in sprayer_notes(load_sites(folder))]

    assert told("tank_l = 60", "tank_l = 60") == []
    assert told("tank_l = 60", "tank_l = 80") == [
        'north.toml and south.toml differ in tank_l of the sprayer "barrow sprayer": if it is one, write the same in '
        "each."
    ]
    (one,) = told("shared = true", "shared = false")
    assert one.startswith('north.toml shares the sprayer "barrow sprayer", and south.toml does not')
    (one,) = told('"barrow sprayer"', '"Barrow  Sprayer"')
    assert 'name a sprayer "barrow sprayer" and "Barrow  Sprayer"' in one
    notes = told('"barrow sprayer"', '"knapsack sprayer"')
    assert [one.split(",")[0] for one in notes] == [
        'north.toml shares the sprayer "barrow sprayer"',
        'south.toml shares the sprayer "knapsack sprayer"',
    ]


def test_a_check_of_a_folder_tells_of_a_slip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = _folder(tmp_path / "sites", "north", "south")
    _shared(folder, "north")
    assert main(["check", "--config", str(folder)]) == 0
    assert "else both may use it at once" in " ".join(capsys.readouterr().err.split())


def test_the_page_of_all_sites_shows_a_long_warning_whole(report: Report) -> None:
    (first, *_) = report.warnings
    says = "A warning of a sort that has no short form of its own, and so many words, is shown"
    long = replace(first, kind="overdue", says=f"{says}. And more.", level="act")
    (line,) = [
        one for one in site_line("north", "North", replace(report, warnings=(long,))).lines if one.is_warning
    ]
    assert line.says.endswith("…")
    assert says in sites([site_line("north", "North", replace(report, warnings=(long,)))]).decode()
