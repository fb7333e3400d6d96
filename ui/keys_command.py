"""`keys make`, `keys list`, `keys remove`, `keys passphrase`: who may come in over a network."""

import getpass
import os
import sys
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from readings import BadInputError
from stream.guard import Listening, parse_address
from stream.keys import LOCAL_NAME, KeyFile, KeyRing, checked_name
from stream.private_files import write_private
from ui.home import Home
from ui.output import put_json, tell
from ui.passphrase import LONGEST, Passphrase

OfDemo = Annotated[bool, typer.Option("--demo", help="The demo's own keys.")]
Name = Annotated[str, typer.Argument(help="The client's name, as node or tablet.")]
KEY_SUFFIX = ".key"


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("make")(make)
    app.command("list")(list_names)
    app.command("remove")(remove)
    app.command("passphrase")(passphrase)


def make(
    context: typer.Context,
    name: Name,
    service: Annotated[
        str, typer.Option(help="Where the client finds the service: HOST or HOST:PORT.")
    ] = "127.0.0.1",
    out: Annotated[Path | None, typer.Option(help="The key file; NAME.key without.")] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Shut the old key of NAME out.")] = False,
    of_demo: OfDemo = False,
) -> None:
    """Make the key file of one client and admit it under its name."""
    path = make_key(_home(context, of_demo).ensure(), name, service, out, anew=anew)
    tell(
        f"{path} is {name}'s key: bring it to that computer by hand, and leave no copy here. "
        "Who has it comes in as this client."
    )


def make_key(home: Home, name: str, service: str, out: Path | None, *, anew: bool = False) -> Path:
    """Make a client's key file, of mode 0600, and return its path.

    Raises
    ------
    BadInputError
        If the name or the address cannot be used, the file is there already or cannot be made.
    """
    path = Path(f"{checked_name(name)}{KEY_SUFFIX}") if out is None else out
    if os.path.lexists(path):
        msg = f"{path} is there already: remove it first, or name another file with --out"
        raise BadInputError(msg)
    if not path.parent.is_dir():
        msg = f"there is no folder {path.parent}: make it first, or name another file with --out"
        raise BadInputError(msg)
    at = Listening(*parse_address(service))
    ring = KeyRing(home.folder)
    pair = ring.make(name, anew=anew)
    addresses = (at.endpoint(0), at.endpoint(1), at.endpoint(2))
    content = KeyFile(name, pair, ring.service().public, *addresses)
    try:
        write_private(path, msgspec.json.format(msgspec.json.encode(content)), replace=False)
    except OSError as error:
        ring.remove(name)
        msg = f"{path} cannot be written ({error.strerror}): name another file with --out"
        raise BadInputError(msg) from error
    return path


def list_names(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
    of_demo: OfDemo = False,
) -> None:
    """List who is admitted, and whether the dashboard has a passphrase."""
    home = _home(context, of_demo)
    names = [name for name in KeyRing(home.folder).names() if name != LOCAL_NAME]
    has = Passphrase(home.folder).made
    if as_json:
        put_json({"clients": names, "passphrase": has})
        return
    tell("Admitted: " + (", ".join(names) or "nobody so far; make a key with: keys make NAME"))
    tell("The dashboard has a passphrase." if has else "The dashboard has no passphrase.")


def remove(context: typer.Context, name: Name, of_demo: OfDemo = False) -> None:
    """Shut a client out, from its next connection on."""
    KeyRing(_home(context, of_demo).folder).remove(name)
    tell(f"{name} is shut out from its next connection on; start the service again to cut it now.")


def passphrase(context: typer.Context, of_demo: OfDemo = False) -> None:
    """Set the dashboard's passphrase: typed twice, or one line of standard input."""
    home = _home(context, of_demo).ensure()
    Passphrase(home.folder).set(_typed())
    tell("The passphrase is set; start the dashboard again where it runs.")


def _typed() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline(LONGEST + 2).rstrip("\n")
    first = getpass.getpass("Passphrase: ")
    if getpass.getpass("Once more: ") != first:
        msg = "the two differ: nothing was changed, type them again"
        raise BadInputError(msg)
    return first


def _home(context: typer.Context, of_demo: bool) -> Home:
    home: Home = context.obj
    return home.demo if of_demo else home
