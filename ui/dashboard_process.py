"""The dashboard as a process: it blocks until it is told to end, and then ends orderly."""

import signal
from collections.abc import Callable
from pathlib import Path

from stream.client import AsyncClient
from stream.service import watch_parent
from ui.access import ON_LOOPBACK, Access
from ui.output import tell
from ui.server import bind, make_server


def run_dashboard(
    home: Path,
    port: int,
    *,
    access: Access = ON_LOOPBACK,
    parent_pipe: bool = False,
    announce: Callable[[str], None] = tell,
) -> int:
    """Serve the dashboard of `home` until INT or TERM; return 0.

    Parameters
    ----------
    home
        The folder with the book and the running service's addresses.
    port
        0 lets the system choose.
    access
        From where it can be opened.
    parent_pipe
        End as well when stdin ends: the parent holds its other end, so the dashboard
        dies with it.
    announce
        Gets one sentence with the address, once it can be opened.

    Raises
    ------
    BadInputError
        If the port cannot be had.
    """
    sock = bind(port, access.host)
    bound: int = sock.getsockname()[1]
    server = make_server(home, bound, lambda: AsyncClient(home), access=access)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, server.handle_exit)
    if parent_pipe:
        watch_parent(server.end)
    announce(f"Dashboard: {access.scheme}://{access.shown}:{bound}/")
    server.run(sockets=[sock])
    return 0
