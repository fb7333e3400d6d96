"""The dashboard's passphrase: kept as a scrypt hash, compared in constant time, held off.

scrypt (RFC 7914) with n = 2^15, r = 8, p = 1: 32 MB and about a tenth of a second a try, so that
a stolen file is slow to guess from. Tries are counted before they are looked at: who is held
off costs nothing.
"""

import hashlib
import hmac
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address, ip_network
from pathlib import Path

import msgspec

from readings import BadInputError
from stream.keys import KEYS_FOLDER
from stream.private_files import write_private

KEPT_IN = "dashboard.json"
SHORTEST, LONGEST = 10, 200
SCRYPT_N, SCRYPT_R, SCRYPT_P = 2**15, 8, 1
SCRYPT_BYTES = 64 * 1024 * 1024

FREE_TRIES = 5
FIRST_WAIT_S, LONGEST_WAIT_S = 2.0, 300.0
"""After the free tries an address waits, twice as long after each further one."""

ALL_TRIES, ALL_OVER_S = 30, 60.0
"""Of all addresses together, those that came in before not counted."""

MOST_ADDRESSES = 4096


@dataclass(frozen=True, slots=True)
class Hashed:
    """A passphrase as it is kept."""

    salt: str
    digest: str
    n: int = SCRYPT_N
    r: int = SCRYPT_R
    p: int = SCRYPT_P


def _digest(passphrase: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    content = passphrase.encode("utf-8", "surrogatepass")
    return hashlib.scrypt(content, salt=salt, n=n, r=r, p=p, maxmem=SCRYPT_BYTES, dklen=32)


class Passphrase:
    """The passphrase of the dashboard of one home folder."""

    def __init__(self, home: Path) -> None:
        self._path = home / KEYS_FOLDER / KEPT_IN

    @property
    def made(self) -> bool:
        """Whether one is set."""
        return self._path.is_file()

    def set(self, passphrase: str) -> None:
        """Keep a passphrase's hash.

        Raises
        ------
        BadInputError
            If it is too short or too long.
        """
        if not SHORTEST <= len(passphrase) <= LONGEST:
            msg = (
                f"the passphrase has {len(passphrase)} characters: take {SHORTEST} to {LONGEST}, "
                "four words that come to mind together only by chance, say"
            )
            raise BadInputError(msg)
        salt = secrets.token_bytes(16)
        digest = _digest(passphrase, salt, SCRYPT_N, SCRYPT_R, SCRYPT_P)
        self._path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        write_private(self._path, msgspec.json.encode(Hashed(salt.hex(), digest.hex())))

    def fits(self, passphrase: str) -> bool:
        """Whether this is the passphrase; takes as long for a wrong one.

        Raises
        ------
        BadInputError
            If the kept hash cannot be read.
        """
        try:
            kept = msgspec.json.decode(self._path.read_bytes(), type=Hashed)
            salt, wanted = bytes.fromhex(kept.salt), bytes.fromhex(kept.digest)
        except (OSError, msgspec.MsgspecError, ValueError) as error:
            msg = f"{self._path} cannot be read ({error}): set it anew with: keys passphrase"
            raise BadInputError(msg) from error
        return hmac.compare_digest(_digest(passphrase, salt, kept.n, kept.r, kept.p), wanted)


@dataclass(slots=True)
class _Record:
    """What is known of one address."""

    failed: int = 0
    again_s: float = 0.0


class HoldOff:
    """Who may try now. A try is counted as failed until it is said to have come in."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._records: dict[str, _Record] = {}
        self._known: set[str] = set()
        self._all: deque[float] = deque()

    def wait_s(self, address: str) -> float:
        """Count a try and return 0, or return how long to wait before one is looked at (s)."""
        now_s, name = self._clock(), _network(address)
        record = self._records.get(name, _Record())
        if now_s < record.again_s:
            return record.again_s - now_s
        while self._all and self._all[0] <= now_s - ALL_OVER_S:
            self._all.popleft()
        if name not in self._known and len(self._all) >= ALL_TRIES:
            return self._all[0] + ALL_OVER_S - now_s
        self._all.append(now_s)
        self._count(name, record, now_s)
        return 0.0

    def came_in(self, address: str) -> None:
        """Note that the last try of an address was right."""
        name = _network(address)
        self._records.pop(name, None)
        if len(self._known) < MOST_ADDRESSES:
            self._known.add(name)

    def _count(self, name: str, record: _Record, now_s: float) -> None:
        record.failed += 1
        over = record.failed - FREE_TRIES
        if over >= 0:
            record.again_s = now_s + min(FIRST_WAIT_S * 2.0 ** min(over, 20), LONGEST_WAIT_S)
        self._records[name] = record
        while len(self._records) > MOST_ADDRESSES:
            del self._records[next(iter(self._records))]


def _network(address: str) -> str:
    """Return what counts as one address: of IPv6 the network that one house has."""
    try:
        known = ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(known, IPv6Address) and known.ipv4_mapped is None:
        return str(ip_network((known, 64), strict=False))
    return str(known)
