"""A store in a file and one on a real PostgreSQL server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest

from planner.store.store import Store

SERVER = os.environ.get("HAYSEL_TEST_POSTGRES", "postgresql://root@127.0.0.1:5432/test")


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'store.db'}"


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """An empty schema of its own on the server, dropped afterwards."""
    with _schema() as url:
        yield url


@pytest.fixture
def other_postgres_url() -> Iterator[str]:
    """Another one."""
    with _schema() as url:
        yield url


@contextmanager
def _schema() -> Iterator[str]:
    schema = f"haysel_{uuid4().hex[:12]}"
    try:
        server = psycopg.connect(SERVER, autocommit=True, connect_timeout=30)
    except psycopg.OperationalError as error:
        if os.environ.get("CI") == "true":
            pytest.fail(f"no PostgreSQL at {SERVER}: {error}")
        pytest.skip(f"no PostgreSQL at {SERVER}")
    with server:
        server.execute(f"create schema {schema}")
        yield f"{SERVER}?options=-csearch_path%3D{schema}"
        server.execute(f"drop schema {schema} cascade")


@pytest.fixture(params=["sqlite", "postgres"])
def url(request: pytest.FixtureRequest) -> str:
    return str(request.getfixturevalue(f"{request.param}_url"))


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    opened = Store.open(url)
    yield opened
    opened.close()
