"""The service's card in its home folder: where it listens, and who it is."""

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import msgspec

from readings import ServiceError
from stream.messages import VERSION

CARD_NAME = "service.json"


@dataclass(frozen=True, slots=True)
class Card:
    """Addresses of the sockets, the process that holds them, the key to them if any."""

    publications: str
    commands: str
    pid: int
    program_version: str
    since_utc: str
    v: int = VERSION
    node: str = ""
    service_public: str = ""


def put_card(home: Path, card: Card) -> None:
    """Write the card so that a reader sees the old one or the new one, never half of one."""
    path = home / CARD_NAME
    part = path.with_name(f"{CARD_NAME}.{card.pid}.part")
    part.write_bytes(msgspec.json.encode(card))
    part.replace(path)


def take_card_away(home: Path, card: Card) -> None:
    """Remove the card where it is still this service's."""
    with suppress(OSError, ServiceError):
        if read_card(home).pid == card.pid:
            (home / CARD_NAME).unlink()


def read_card(home: Path) -> Card:
    """Return the card of the service that runs in `home`.

    Raises
    ------
    ServiceError
        If none runs there, or the card cannot be read.
    """
    path = home / CARD_NAME
    try:
        card = msgspec.json.decode(path.read_bytes(), type=Card)
    except FileNotFoundError as error:
        msg = f"No service runs in {home}: start `sparehand run`, or give another --home."
        raise ServiceError(msg) from error
    except (OSError, msgspec.MsgspecError) as error:
        msg = f"{path} cannot be read ({error}): start the service again."
        raise ServiceError(msg) from error
    if card.v != VERSION:
        msg = f"The service in {home} speaks version {card.v}, this program {VERSION}: update one."
        raise ServiceError(msg)
    return card
