"""The site as a key of every row, the place as a key of weather, one report a pass for many answers, and the
levels of warnings by their new names.

Rows from before belong to the site "main". Where their weather is from is not known, so that no pass takes
it up; only the newest pass names its place, in the days it carries on.
"""

from __future__ import annotations

import json
import zlib
from hashlib import sha256

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_NAMES = {"pk": "%(table_name)s_pkey", "uq": "%(table_name)s_%(column_0_name)s_key"}
#: Table, its index and the columns of that; constraints by their name before and after, and their columns.
_KEYS: tuple[tuple[str, str, list[str], list[tuple[str, str, list[str]]]], ...] = (
    ("claims", "", [], [("claims_pkey", "claims_pkey", ["job", "slot"])]),
    ("warnings", "", [], [("warnings_pkey", "warnings_pkey", ["id"])]),
    (
        "entries",
        "entries_by_time",
        ["started_at"],
        [
            ("entries_key_key", "entries_key", ["key"]),
            ("entries_uuid_revision", "entries_uuid_revision", ["uuid", "revision"]),
        ],
    ),
    (
        "outbox",
        "outbox_by_due",
        ["state", "due_at"],
        [("outbox_once", "outbox_once", ["warning_id", "change", "output"])],
    ),
)
#: What the newest pass hands on to the next, whatever its form.
_CARRIED = ("past-days", "last-pull")
_LEVELS = (("mention", "note"), ("heed", "care"), ("act tonight", "act"))
_SAID = ("level", "strength", "begins")


def upgrade() -> None:
    """Adds the keys, and carries over what the newest pass hands on."""
    for table in ("passes", "forecasts"):
        op.add_column(table, _site())
        op.add_column(table, sa.Column("place", sa.Text(), nullable=False, server_default=""))
    op.add_column("passes", sa.Column("schema", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("passes", sa.Column("stale_at", sa.Double()))
    op.create_index("passes_by_place", "passes", ["site", "place", "id"])
    op.drop_index("forecasts_by_time", "forecasts")
    op.create_index("forecasts_by_time", "forecasts", ["site", "place", "provider", "fetched_at"])
    _site_in_keys(add=True)
    parts = op.create_table(
        "parts",
        sa.Column("pass_id", _NUMBER, sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("name", sa.Text(), primary_key=True),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
    bodies = _newest("answers")
    for name, body in bodies.items():
        op.get_bind().execute(
            parts.insert().values(
                pass_id=sa.text("(select max(id) from passes)"), name=name, body=zlib.compress(body, 1)
            )
        )
    op.get_bind().execute(
        sa.text("update passes set place = :place where id = (select max(id) from passes)"),
        {"place": _place(bodies.get("past-days"))},
    )
    op.execute("delete from passes where id not in (select pass_id from parts)")
    op.drop_table("answers")
    _rewrite(dict(_LEVELS), {f"told_{part}": f"said_{part}" for part in _SAID}, ("Stood down", "Over"))


def downgrade() -> None:
    """Takes the keys away again; refused where the store holds the diary of another site than "main"."""
    bind = op.get_bind()
    if bind.execute(sa.text("select 1 from entries where site <> 'main' limit 1")).first() is not None:
        raise RuntimeError(
            "The store holds the diary of several sites, which the form before cannot. Use a backup."
        )
    for table in ("claims", "forecasts", "outbox", "warnings"):
        op.execute(f"delete from {table} where site <> 'main'")
    op.execute("delete from parts where pass_id in (select id from passes where site <> 'main')")
    op.execute("delete from passes where site <> 'main'")
    answers = op.create_table(
        "answers",
        sa.Column("pass_id", _NUMBER, sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("name", sa.Text(), primary_key=True),
        sa.Column("content_type", sa.Text(), nullable=False),
        sa.Column("etag", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
    _rewrite(
        {new: old for old, new in _LEVELS},
        {f"said_{part}": f"told_{part}" for part in _SAID},
        ("Over", "Stood down"),
    )
    for name, packed in _newest("parts").items():
        body = zlib.decompress(packed)
        if name == "past-days":
            body = _placed(body)
        bind.execute(
            answers.insert().values(
                pass_id=sa.text("(select max(id) from passes)"),
                name=name,
                content_type="application/json",
                etag=f'"{sha256(body).hexdigest()[:32]}"',
                body=body,
            )
        )
    op.drop_table("parts")
    op.drop_index("passes_by_place", "passes")
    op.drop_index("forecasts_by_time", "forecasts")
    op.create_index("forecasts_by_time", "forecasts", ["provider", "fetched_at"])
    for table, columns in (
        ("passes", ("site", "place", "schema", "stale_at")),
        ("forecasts", ("site", "place")),
    ):
        for column in columns:
            op.drop_column(table, column)
    _site_in_keys(add=False)


def _site() -> sa.Column[str]:
    return sa.Column("site", sa.Text(), nullable=False, server_default="main")


def _site_in_keys(*, add: bool) -> None:
    """Puts the site before the columns of every key, unique constraint and index, or takes it away."""
    first = ["site"] if add else []
    for table, index, columns, constraints in _KEYS:
        with op.batch_alter_table(table, naming_convention=_NAMES) as batch:
            if index:
                batch.drop_index(index)
            if add:
                batch.add_column(_site())
            for old, new, _ in constraints:
                batch.drop_constraint(
                    old if add else new, type_="primary" if old.endswith("_pkey") else "unique"
                )
            for old, new, key in constraints:
                if old.endswith("_pkey"):
                    batch.create_primary_key(new, first + key)
                else:
                    batch.create_unique_constraint(new if add else old, first + key)
            if not add:
                batch.drop_column("site")
            if index:
                batch.create_index(index, first + columns)
    _entries_only_grow()


def _newest(table: str) -> dict[str, bytes]:
    rows = op.get_bind().execute(
        sa.text(f"select name, body from {table} where pass_id = (select max(id) from passes)")
    )
    return {name: bytes(body) for name, body in rows if name in _CARRIED}


def _place(days: bytes | None) -> str:
    """The place the carried days are of, as a store is bound to it; empty where they do not name one."""
    try:
        latitude_deg, longitude_deg, zone = json.loads(days or b"{}")["place"]
        return f"{float(latitude_deg):.2f},{float(longitude_deg):.2f},{zone}"
    except (KeyError, TypeError, ValueError):
        return ""


def _placed(days: bytes) -> bytes:
    """The days with the place they are of, which the form before reads there."""
    newest = sa.text("select place from passes where id = (select max(id) from passes)")
    place = op.get_bind().execute(newest).scalar()
    if not place:
        return days
    north, east, zone = place.split(",", 2)
    return json.dumps({**json.loads(days), "place": [float(north), float(east), zone]}).encode()


def _rewrite(levels: dict[str, str], keys: dict[str, str], over: tuple[str, str]) -> None:
    """The levels and titles of warnings, and the keys under which a warning keeps what was last said of it."""
    bind = op.get_bind()
    for number, name, body in bind.execute(sa.text("select id, state, body from outbox")).all():
        if name in ("due", "sending"):
            message = _renamed(json.loads(body), levels, keys)
            # By its title a message that ends a warning is known, and held over night.
            said = json.dumps(message, sort_keys=True).replace(f'"{over[0]}:', f'"{over[1]}:')
            bind.execute(
                sa.text("update outbox set body = :body where id = :id"), {"id": number, "body": said}
            )
    for name, level, document in bind.execute(sa.text("select id, level, document from warnings")).all():
        bind.execute(
            sa.text("update warnings set level = :level, document = :document where id = :id"),
            {
                "id": name,
                "level": levels.get(level, level),
                "document": json.dumps(_renamed(json.loads(document), levels, keys), sort_keys=True),
            },
        )


def _renamed(value: object, levels: dict[str, str], keys: dict[str, str]) -> object:
    if not isinstance(value, dict):
        return value
    return {
        keys.get(key, key): levels.get(part, part)
        if key in ("level", "calm_level", "told_level", "said_level")
        else _renamed(part, levels, keys)
        for key, part in value.items()
    }


def _entries_only_grow() -> None:
    """SQLite makes the table anew, and its triggers go with the old one."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(
                f"create trigger entries_no_{act} before {act} on entries "
                "begin select raise(abort, 'the diary only grows'); end"
            )
