"""The connections to a PostgreSQL server: writers take turns, readers see one state."""

from typing import Any

import sqlalchemy as sa

from readings import BookError
from records.errors import (
    BookDamagedError,
    BookLockedError,
    BookMissingError,
    no_room,
)

WRITERS_LOCK = 0x53706864
"""The advisory lock that a writer holds through a transaction: the chain has one end."""

_CONNECT_S = 4
_LOCK_WAIT_MS = 400
"""The writer is the service's main loop: it says that the book is held, and tries again."""

_KEEPALIVE: dict[str, Any] = {
    "connect_timeout": _CONNECT_S,
    "keepalives_idle": 5,
    "tcp_user_timeout": 4000,
}
_NO_ROOM = ("53100", "53200")
_HELD = ("55P03", "40001", "40P01")
_DAMAGED = ("XX000", "XX001", "XX002")


def engine_for(address: str, *, writing: bool) -> sa.Engine:
    """Return an engine of one connection; a writer's transactions take turns with all others'.

    Raises
    ------
    BookError
        If the driver is not installed.
    """
    url = sa.make_url(address).set(drivername="postgresql+psycopg")
    options = f"-c lock_timeout={_LOCK_WAIT_MS} -c synchronous_commit=on"
    try:
        engine = sa.create_engine(
            url,
            pool_size=1,
            max_overflow=2,
            pool_pre_ping=not writing,
            connect_args={**_KEEPALIVE, "options": options, "application_name": "sparehand"},
            isolation_level="READ COMMITTED" if writing else "REPEATABLE READ",
            execution_options={} if writing else {"postgresql_readonly": True},
        )
    except ImportError as error:
        msg = (
            "A shared book needs a part that is not installed: pip install 'sparehand[postgresql]'"
        )
        raise BookError(msg) from error
    if writing:
        sa.event.listens_for(engine, "begin")(_take_turns)
    return engine


def _take_turns(connection: sa.Connection) -> None:
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS_LOCK})")


def from_server(where: object, error: BaseException) -> BookError:
    """Return the sentence for an error of PostgreSQL's driver."""
    state: str | None = getattr(error, "sqlstate", None)
    said = " ".join(str(error).split())
    if state is None or state[:2] in ("08", "28", "3D", "57"):
        return BookMissingError(
            f"The record book at {where} cannot be reached ({said}): check the network, the "
            "server and the address; nothing was written."
        )
    if state in _NO_ROOM:
        return no_room(where)
    if state in _HELD:
        return BookLockedError(
            f"Another machine holds the record book at {where}: try again; nothing was written."
        )
    if state in _DAMAGED:
        return BookDamagedError(
            f"The record book at {where} is damaged ({said}): do not write to it, and go back to "
            "a copy that `sparehand records backup` made."
        )
    return BookError(
        f"The record book at {where} did not take this ({said}): nothing of it was written; "
        "run `sparehand records check`."
    )
