"""Where the service listens, and who comes in: loopback, or a network with keys."""

import ipaddress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import zmq
from zmq.auth.thread import ThreadAuthenticator
from zmq.utils import z85

from readings import BadInputError
from stream.keys import KeyRing, Pair

LOOPBACK = "127.0.0.1"
DEFAULT_PORT = 8621
"""Publications of a service on a network; commands and camera nodes have the next two."""

DOMAIN = b"sparehand"
HANDSHAKE_MS = 5000
HEARTBEAT_MS, HEARTBEAT_DEAD_MS = 1000, 3000


@dataclass(frozen=True, slots=True)
class Listening:
    """The address to listen at; beyond loopback only with a key ring.

    `port` 0 lets the system choose.
    """

    host: str = LOOPBACK
    port: int = 0
    keys: KeyRing | None = None

    def endpoint(self, offset: int) -> str:
        """Return what to bind the socket of this offset from the port to."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"tcp://{host}:{self.port + offset if self.port else '*'}"


def listening_at(home: Path, network: str | None) -> Listening:
    """Return where to listen: loopback without `network`, else ``HOST[:PORT]`` with keys.

    Raises
    ------
    BadInputError
        If `network` is no address of a network card, or no keys were made.
    """
    if network is None:
        return Listening()
    host, port = parse_address(network)
    ring = KeyRing(home)
    if not ring.made:
        msg = (
            "on a network the service answers only to clients with a key, and none was made: "
            "make one for each client with: sparehand keys make NAME"
        )
        raise BadInputError(msg)
    return Listening(host, port, ring)


def parse_address(text: str) -> tuple[str, int]:
    """Return host and port of ``192.168.1.20``, ``192.168.1.20:8621`` or ``[fe80::1]:8621``.

    Raises
    ------
    BadInputError
        If it is no IP address, or no port.

    Examples
    --------
    >>> parse_address("192.168.1.20"), parse_address("[::1]:9000")
    (('192.168.1.20', 8621), ('::1', 9000))
    """
    host, port = text, str(DEFAULT_PORT)
    if text.startswith("[") and "]" in text:
        host, _, rest = text[1:].partition("]")
        port = rest.removeprefix(":") or port
    elif text.count(":") == 1:
        host, port = text.split(":")
    try:
        address = ipaddress.ip_address(host)
        number = int(port) if port.isascii() and port.isdigit() else 0
    except ValueError:
        number = 0
    if not 1 <= number <= 65533:
        msg = (
            f"{text[:80]!r} is no network address: give this computer's IP address as "
            "192.168.1.20 or 192.168.1.20:8621 (0.0.0.0: all of its addresses)"
        )
        raise BadInputError(msg)
    return str(address), number


class Guard:
    """Admits named clients only, by their keys; without a key ring it lets loopback in."""

    def __init__(self, context: "zmq.Context[zmq.Socket[bytes]]", keys: KeyRing | None) -> None:
        self._pair: Pair | None = keys.service() if keys else None
        self._thread: ThreadAuthenticator | None = None
        if keys is not None:
            self._thread = _Authenticator(context, keys)
            self._thread.start()

    @property
    def public(self) -> str:
        """The service's public key, empty without keys."""
        return self._pair.public if self._pair else ""

    def cover(self, socket: "zmq.Socket[bytes]") -> None:
        """Make a socket, before it is bound, refuse whoever is not admitted."""
        socket.setsockopt(zmq.HANDSHAKE_IVL, HANDSHAKE_MS)
        if self._pair is None:
            return
        socket.setsockopt(zmq.ZAP_DOMAIN, DOMAIN)
        socket.setsockopt(zmq.ZAP_ENFORCE_DOMAIN, 1)
        socket.setsockopt(zmq.CURVE_SERVER, 1)
        socket.setsockopt(zmq.CURVE_SECRETKEY, self._pair.secret.encode())
        socket.setsockopt(zmq.HEARTBEAT_IVL, HEARTBEAT_MS)
        socket.setsockopt(zmq.HEARTBEAT_TIMEOUT, HEARTBEAT_DEAD_MS)

    def close(self) -> None:
        """Stop admitting."""
        if self._thread is not None:
            self._thread.stop()
            self._thread = None


class _Authenticator(ThreadAuthenticator):
    """The authenticator of the key ring; a connection carries its client's name."""

    def __init__(self, context: Any, keys: KeyRing) -> None:  # noqa: ANN401 - zmq's own
        super().__init__(context)
        self._keys = keys
        self.configure_curve_callback(DOMAIN.decode(), self)

    def callback(self, domain: str, key: bytes) -> bool:
        """Whether the client with this key (Z85) is admitted."""
        return self._keys.who(key.decode("ascii", "replace")) is not None

    def curve_user_id(self, client_public_key: bytes) -> str:
        """Return the admitted client's name."""
        return self._keys.who(z85.encode(client_public_key).decode("ascii")) or ""


def bind(socket: "zmq.Socket[bytes]", endpoint: str) -> str:
    """Bind a socket and return the address that this computer's programs connect to.

    Raises
    ------
    BadInputError
        If the address cannot be had.
    """
    try:
        socket.bind(endpoint)
    except zmq.ZMQError as error:
        msg = (
            f"the service cannot listen at {endpoint.removeprefix('tcp://')} ({error.strerror}): "
            "give an address of this computer and a port that is free"
        )
        raise BadInputError(msg) from error
    bound: str = socket.getsockopt_string(zmq.LAST_ENDPOINT)
    return bound.replace("//0.0.0.0:", f"//{LOOPBACK}:").replace("//[::]:", "//[::1]:")
