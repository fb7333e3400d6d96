"""How a client reaches a service: by its home folder on this computer, or by a key file."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import zmq

from stream.card import Card, read_card
from stream.guard import HEARTBEAT_DEAD_MS, HEARTBEAT_MS
from stream.keys import KeyFile, KeyRing, Pair

RECONNECT_MS, RECONNECT_LONGEST_MS = 100, 2000

Where = Path | Card | KeyFile
"""The home folder of a service, its card, or the key file of a client elsewhere."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Addresses of the service's sockets, and the keys to them where it wants some."""

    publications: str
    commands: str
    node: str
    who: str
    service_public: str = ""
    pair: Pair | None = field(default=None, repr=False)

    def ready(self, socket: "zmq.Socket[Any]") -> None:
        """Set what a client's socket needs before it connects."""
        socket.setsockopt(zmq.LINGER, 0)
        socket.setsockopt(zmq.RECONNECT_IVL, RECONNECT_MS)
        socket.setsockopt(zmq.RECONNECT_IVL_MAX, RECONNECT_LONGEST_MS)
        if self.pair is None:
            return
        socket.setsockopt(zmq.CURVE_SERVERKEY, self.service_public.encode())
        socket.setsockopt(zmq.CURVE_PUBLICKEY, self.pair.public.encode())
        socket.setsockopt(zmq.CURVE_SECRETKEY, self.pair.secret.encode())
        socket.setsockopt(zmq.HEARTBEAT_IVL, HEARTBEAT_MS)
        socket.setsockopt(zmq.HEARTBEAT_TIMEOUT, HEARTBEAT_DEAD_MS)


def reach_of(where: Where) -> Reach:
    """Return how to reach the service.

    Raises
    ------
    ServiceError
        If no service runs in that home, or this computer's key to it cannot be used.
    """
    if isinstance(where, KeyFile):
        return Reach(
            where.publications,
            where.commands,
            where.node,
            f"The service at {where.commands}",
            where.service_public,
            where.pair,
        )
    card = where if isinstance(where, Card) else read_card(where)
    keyed = bool(card.service_public) and isinstance(where, Path)
    pair = KeyRing(where).local() if keyed and isinstance(where, Path) else None
    who = f"The service at {card.commands} (process {card.pid})"
    return Reach(card.publications, card.commands, card.node, who, card.service_public, pair)
