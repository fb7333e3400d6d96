"""The session's scratch: the one table that is overwritten, outside the chain of hashes."""

import sqlalchemy as sa

from records import tables as t
from records.errors import BookDamagedError
from records.photos import sha256_of


def put(connection: sa.Connection, key: str, state: bytes, at_utc: str) -> None:
    """Keep `state` under `key` in place of what was there."""
    values = {"state": state, "sha256": sha256_of(state), "at_utc": at_utc}
    here = t.session_state.c.key == key
    if not connection.execute(t.session_state.update().where(here).values(values)).rowcount:
        connection.execute(t.session_state.insert().values(key=key, **values))


def get(connection: sa.Connection, key: str) -> bytes | None:
    """Return what was kept under `key`, None where nothing was.

    Raises
    ------
    BookDamagedError
        If it is not what was kept.
    """
    query = sa.select(t.session_state).where(t.session_state.c.key == key)
    row = connection.execute(query).mappings().first()
    if row is None:
        return None
    state = bytes(row["state"])
    if sha256_of(state) == row["sha256"]:
        return state
    msg = (
        f"The session kept as {key!r} is damaged: begin it anew; "
        "the setups in the book are not touched by this."
    )
    raise BookDamagedError(msg)
