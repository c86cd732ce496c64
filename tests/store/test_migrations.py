"""Every form of the tables, with rows as that form has them: up to the newest, back step by step, and up again."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, MetaData, Table, inspect, text

from planner.diary.observations import Observation
from planner.store import engine as engine_module
from planner.store.engine import address, connect, downgrade, upgrade, version
from planner.store.records import StoreError
from planner.store.restore import _number_on
from planner.store.store import Store
from planner.store.tables import HEAD, metadata
from tests.store.test_diary import FOLIAR

NOW = datetime(2026, 4, 12, 12, tzinfo=UTC)
FORMS = ("0001", "0002", "0003", "0004", "0005")
PLACE = "54.21,-2.35,Europe/London"
#: The guards of a form: the tables that only grow.
GUARDED = {"0001": {"entries"}, "0002": {"entries"}, "0003": {"entries"}, "0004": {"entries", "observations"}}
GUARDED["0005"] = GUARDED["0004"]

Rows = dict[str, list[dict[str, Any]]]


def test_these_are_all_the_forms() -> None:
    steps = ScriptDirectory.from_config(engine_module._config()).walk_revisions()
    assert sorted(step.revision for step in steps) == list(FORMS)
    assert FORMS[-1] == HEAD


@contextmanager
def at(engine: Engine) -> Iterator[Connection]:
    with engine.execution_options(writes=True).begin() as connection:
        yield connection


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    made = connect(address(url))
    yield made
    made.dispose()


def typical(form: str) -> Rows:
    """Rows as a service of that form left them: two passes, a diary with a revision and a withdrawal, messages."""
    by_site = form >= "0003"
    site = {"site": "main"} if by_site else {}
    level, said = ("act", "said_level") if by_site else ("act tonight", "told_level")
    over = "Over" if by_site else "Stood down"
    days: dict[str, object] = {"days": {"2026-04-11": [9.5, 8.0, 1.2, 24]}}
    if not by_site:
        days["place"] = [54.21, -2.35, "Europe/London"]
    packed = zlib.compress if by_site else bytes
    kept: dict[str, list[dict[str, Any]]] = {"passes": [], "answers": [], "parts": []}
    for number, hour in ((1, 0.0), (2, 3600.25)):
        row: dict[str, Any] = {"id": number, "made_at": hour}
        if by_site:
            row |= {"site": "main", "place": PLACE, "schema": 2, "stale_at": hour + 9.5}
        kept["passes"].append(row)
        bodies = {"past-days": json.dumps(days).encode(), "last-pull": b'{"pull":%d}' % number, "now": b"{}"}
        for name, body in bodies.items():
            mine: dict[str, Any] = {"pass_id": number, "name": name, "body": packed(body)}
            told = {"content_type": "application/json", "etag": f'"{number}{name}"'}
            kept["parts" if by_site else "answers"].append(mine if by_site else mine | told)
    forecast: dict[str, Any] = {
        "id": 7,
        "provider": "open-meteo",
        "url": "https://example.org/f",
        "etag": '"x"',
        "last_modified": None,
        "expires_at": 5.5,
        "fetched_at": 1.5,
        "checked_at": 2.5,
        "day": 0,
        "body": zlib.compress(bytes(range(256)) * 40),
    }
    forecast |= {"issued_at": -0.5, "notes": '["süß"]'} if form >= "0002" else {}
    forecast |= {"site": "main", "place": PLACE} if by_site else {}
    entry: dict[str, Any] = {
        "id": 1,
        "uuid": "u",
        "revision": 1,
        "key": "u",
        "job": "foliar_feed",
        "kind": "fertilising",
        "surface": "green",
        "started_at": 0.5,
        "finished_at": 900.0,
        "operator": "I. Dale",
        "notes": "naïve\n“ten” ☂",
        "document": '{"water_l": 40.0}',
        "written_at": 950.0,
        "withdrawn": False,
        "reason": "",
    } | site
    second = entry | {"id": 2, "revision": 2, "key": "k2", "reason": "wrong hour", "notes": "eleven"}
    gone = entry | {"id": 5, "revision": 3, "key": "k3", "reason": "twice", "withdrawn": True}
    document = {"notice": {"level": level, "says": "frost"}, said: level}
    warning: dict[str, Any] = {
        "id": "w",
        "kind": "frost",
        "surface": "green",
        "state": "changed",
        "level": level,
        "document": json.dumps(document, sort_keys=True),
        "first_at": 0.5,
        "changed_at": 3600.25,
        "change": 2,
    } | site
    body = json.dumps({"body": "frost", "level": level, "title": f"{over}: frost"}, sort_keys=True)
    message: dict[str, Any] = {
        "id": 3,
        "warning_id": "w",
        "change": 2,
        "output": "mail",
        "body": body,
        "closes": True,
        "state": "due",
        "due_at": 3600.25,
        "taken_until": None,
        "tries": 0,
        "sent_at": None,
        "note": "",
    } | site
    sent = message | {"id": 1, "change": 1, "state": "sent", "closes": False, "tries": 1, "sent_at": 7.5}
    claims = [
        {"job": "pass", "slot": "1", "until": 60.0, "done": 30.0} | site,
        {"job": "pass", "slot": "2", "until": 3660.5, "done": None} | site,
    ]
    return {name: rows for name, rows in kept.items() if rows} | {
        "forecasts": [forecast],
        "claims": claims,
        "entries": [entry, second, gone],
        "warnings": [warning],
        "outbox": [sent, message],
    }


def fill(connection: Connection, rows: Mapping[str, list[dict[str, Any]]]) -> None:
    tables = reflected(connection)
    for name, found in rows.items():
        if found:
            connection.execute(tables[name].insert(), found)
            # As though the database had numbered them itself.
            _number_on(connection, tables[name])


def reflected(connection: Connection) -> Mapping[str, Table]:
    found = MetaData()
    found.reflect(connection)
    return found.tables


def held(connection: Connection) -> Rows:
    return {
        name: [
            {key: bool(value) if key in ("withdrawn", "closes") else value for key, value in row.items()}
            for row in connection.execute(table.select().order_by(*table.primary_key.columns)).mappings()
        ]
        for name, table in reflected(connection).items()
        if name != "alembic_version"
    }


def structure(connection: Connection) -> dict[str, object]:
    """Columns, keys, indexes and guards, as far as both databases name them alike."""
    asked = inspect(connection)
    tables = {
        name: {
            "columns": {
                one["name"]: (
                    str(one["type"]),
                    one["nullable"],
                    one["default"] and "nextval" in one["default"],
                )
                for one in asked.get_columns(name)
            },
            "key": asked.get_pk_constraint(name)["constrained_columns"],
            "unique": sorted(one["column_names"] for one in asked.get_unique_constraints(name)),
            "indexes": sorted((one["name"] or "", one["column_names"]) for one in asked.get_indexes(name)),
            "of": [
                (one["constrained_columns"], one["referred_table"], one["options"].get("ondelete"))
                for one in asked.get_foreign_keys(name)
            ],
        }
        for name in sorted(asked.get_table_names())
    }
    if connection.dialect.name == "sqlite":
        named = "select name, tbl_name from sqlite_master where type = 'trigger' order by 1"
        made: list[str] = []
    else:
        named = (
            "select distinct trigger_name, event_object_table from information_schema.triggers "
            "where trigger_schema = current_schema() order by 1"
        )
        functions = (
            "select proname from pg_proc where pronamespace = current_schema()::regnamespace order by 1"
        )
        made = list(connection.execute(text(functions)).scalars())
    guards = [tuple(row) for row in connection.execute(text(named))]
    return {"tables": tables, "guards": guards, "functions": made}


#: What each form is where nothing was ever brought back to it, by database.
_FRESH: dict[str, dict[str, dict[str, object]]] = {}


@pytest.fixture
def fresh(engine: Engine) -> dict[str, dict[str, object]]:
    """The forms of that database, read once."""
    found = _FRESH.setdefault(engine.dialect.name, {})
    if not found:
        with at(engine) as connection:
            for form in FORMS:
                upgrade(connection, form)
                found[form] = structure(connection)
            connection.rollback()
    return found


def require_guards(engine: Engine, form: str) -> None:
    for table in GUARDED[form]:
        for act in (f"delete from {table}", f"update {table} set reason = 'x'"):
            with engine.connect() as connection:
                if connection.execute(text(f"select count(*) from {table}")).scalar():
                    with pytest.raises(Exception, match="only grow"):
                        connection.execute(text(act))


@pytest.mark.parametrize("form", FORMS)
def test_what_a_form_holds_comes_back_to_it_from_the_newest_and_goes_up_again(
    engine: Engine, url: str, form: str, fresh: dict[str, dict[str, object]]
) -> None:
    with at(engine) as connection:
        upgrade(connection, form)
        fill(connection, typical(form))
        before = held(connection)
    with at(engine) as connection:
        upgrade(connection, "head")
        assert structure(connection) == fresh[HEAD]
        newest = held(connection)
    # A step a transaction, as a keeper would go.
    for back in reversed(FORMS[:-1]):
        with at(engine) as connection:
            downgrade(connection, back)
            assert version(connection) == back
            assert structure(connection) == fresh[back]
            after = held(connection)
        require_guards(engine, back)
        assert [row["uuid"] for row in after["entries"]] == ["u"] * 3
        if back == form:
            assert_same(after, before)
    with at(engine) as connection:
        with pytest.raises(RuntimeError, match="would drop the diary"):
            downgrade(connection, "base")
        connection.rollback()
    with at(engine) as connection:
        assert version(connection) == "0001"
        assert len(held(connection)["entries"]) == 3
        upgrade(connection, "head")
        assert structure(connection) == fresh[HEAD]
        again = held(connection)
    require_guards(engine, HEAD)
    for table in ("entries", "warnings", "outbox", "claims"):
        assert again[table] == newest[table], table
    with closing(Store.open(url, "main", PLACE)) as store:
        # It goes on as a store does.
        assert [(one.uuid, one.withdrawn) for one in store.entries(with_withdrawn=True)] == [("u", True)]
        assert [part.name for part in store.parts()] == ["last-pull", "past-days"]
        store.add_entry(FOLIAR, NOW)
        # While the warning is young: one of long ago goes, and its messages with it.
        soon = datetime(1970, 1, 1, 2, tzinfo=UTC)
        assert store.keep_pass(soon, {"now": b"2"}, schema=3) == 3
        assert [message.change for message in store.take_due(soon, 60)] == [2]


def assert_same(after: Rows, before: Rows) -> None:
    """All of it, where no step between makes tables anew; else of the passes what the newest hands on."""
    if "parts" in before:
        assert after == before | {name: [] for name in after.keys() - before.keys()}
        return
    for table in ("entries", "warnings", "outbox", "claims", "forecasts"):
        assert after[table] == before[table], table
    assert [row["made_at"] for row in after["passes"]] == [before["passes"][-1]["made_at"]]
    assert {row["name"]: json.loads(row["body"]) for row in after["answers"]} == {
        row["name"]: json.loads(row["body"])
        for row in before["answers"]
        if row["pass_id"] == 2 and row["name"] != "now"
    }


def test_a_store_without_a_diary_goes_back_to_nothing_and_up_again(
    engine: Engine, url: str, fresh: dict[str, dict[str, object]]
) -> None:
    with at(engine) as connection:
        upgrade(connection, "head")
        fill(connection, typical(HEAD) | {"entries": []})
    for back in (*reversed(FORMS[:-1]), "base"):
        with at(engine) as connection:
            downgrade(connection, back)
    with at(engine) as connection:
        assert version(connection) is None
        nothing = structure(connection)
        assert list(nothing["tables"]) == ["alembic_version"]  # type: ignore[call-overload]
        assert nothing["guards"] == nothing["functions"] == []
        upgrade(connection, "head")
        assert structure(connection) == fresh[HEAD]
    with closing(Store.open(url)) as store:
        store.add_entry(FOLIAR, NOW)
        assert set(held_tables(store)) == set(metadata.tables)
        with pytest.raises(StoreError, match="only grow"), store._writing() as connection:
            connection.execute(text("delete from entries"))


def held_tables(store: Store) -> Mapping[str, Table]:
    with store._reading() as connection:
        return {name: one for name, one in reflected(connection).items() if name != "alembic_version"}


def test_a_step_back_that_is_refused_changes_nothing(engine: Engine, url: str) -> None:
    with closing(Store.open(url, "main", PLACE)) as store:
        store.add_entry(FOLIAR, NOW)
        store.add_observation(Observation(surface="green", at=NOW, figures={"water_mm": 3.1}), NOW)
        store.keep_pass(NOW, {"past-days": b'{"days":{}}'}, schema=3)
    with at(engine) as connection:
        before = (structure(connection), held(connection))
    for back in (*(form for form in reversed(FORMS) if form < "0004"), "base"):
        with pytest.raises(RuntimeError, match="holds readings"), at(engine) as connection:
            downgrade(connection, back)
        with at(engine) as connection:
            assert (structure(connection), held(connection)) == before
            assert version(connection) == HEAD
