"""Network keys: who may talk to the service over a network, and the files they stand in.

CURVE (RFC 26/ZMTP-CURVE) pairs. The service's folder ``<home>/keys`` (0700) holds its own
pair, the public key of every client that is admitted, by name, and a pair for the programs
of this computer. A client gets one key file, `KeyFile`. Files with a secret have mode 0600
from the moment they exist, and one that others may read is not used.
"""

import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import msgspec
import zmq

from readings import BadInputError, ServiceError
from stream.private_files import write_private

KEYS_FOLDER = "keys"
CLIENTS_FOLDER = "clients"
SERVICE_KEY = "service.json"
LOCAL_NAME = "this-computer"
LOCAL_KEY = f"{LOCAL_NAME}.json"
LARGEST_KEY_FILE = 4096

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
_Z85_KEY = re.compile(r"[0-9A-Za-z.\-:+=^!/*?&<>()\[\]{}@%$#]{40}")


@dataclass(frozen=True, slots=True)
class Pair:
    """A CURVE pair, both keys in Z85 (RFC 32)."""

    public: str
    secret: str

    def __repr__(self) -> str:
        return f"Pair({self.public!r}, …)"


@dataclass(frozen=True, slots=True)
class Admitted:
    """A client that may come in."""

    name: str
    public: str


@dataclass(frozen=True, slots=True)
class KeyFile:
    """What a client on another computer needs: its own pair, the service's key and addresses."""

    name: str
    pair: Pair
    service_public: str
    publications: str
    commands: str
    node: str


T = TypeVar("T")


def new_pair() -> Pair:
    """Return a new CURVE pair."""
    public, secret = zmq.curve_keypair()
    return Pair(public.decode(), secret.decode())


def checked_name(name: str) -> str:
    """Return a client's name.

    Raises
    ------
    BadInputError
        If it is no plain name.
    """
    if _NAME.fullmatch(name):
        return name
    msg = (
        f"the name {name[:60]!r} cannot be used: take 1 to 40 letters, digits, dots, dashes "
        "or underscores, beginning with a letter or digit"
    )
    raise BadInputError(msg)


class KeyRing:
    """The keys of the service in one home folder."""

    def __init__(self, home: Path) -> None:
        self.folder = home / KEYS_FOLDER
        self._clients = self.folder / CLIENTS_FOLDER

    @property
    def made(self) -> bool:
        """Whether the service has a pair of its own."""
        return (self.folder / SERVICE_KEY).is_file()

    def ensure(self) -> Pair:
        """Return the service's pair, made with the local programs' one where there is none."""
        if not self.made:
            for folder in (self.folder, self._clients):
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
                folder.chmod(0o700)
            local = new_pair()
            _put(self.folder / LOCAL_KEY, local)
            self._admit(LOCAL_NAME, local.public)
            _put(self.folder / SERVICE_KEY, new_pair())
        return self.service()

    def service(self) -> Pair:
        """Return the service's own pair.

        Raises
        ------
        ServiceError
            If there is none, or its file cannot be used.
        """
        return read_private(self.folder / SERVICE_KEY, Pair)

    def local(self) -> Pair:
        """Return the pair of this computer's own programs; errors as `service`."""
        return read_private(self.folder / LOCAL_KEY, Pair)

    def make(self, name: str, *, anew: bool = False) -> Pair:
        """Admit a client under `name` and return its pair, whose secret is kept nowhere here.

        Raises
        ------
        BadInputError
            If the name cannot be used, or has a key already and `anew` is not asked for.
        """
        checked_name(name)
        self.ensure()
        if name == LOCAL_NAME or (self._path(name).exists() and not anew):
            msg = (
                f"{name} has a key already: take another name, or make it anew with --anew "
                "(the old one is then shut out at its next connection)"
            )
            raise BadInputError(msg)
        pair = new_pair()
        self._admit(name, pair.public)
        return pair

    def names(self) -> list[str]:
        """Return who is admitted."""
        return sorted(path.stem for path in self._clients.glob("*.json"))

    def remove(self, name: str) -> None:
        """Shut a client out from its next connection on.

        Raises
        ------
        BadInputError
            If nobody of that name is admitted.
        """
        if name == LOCAL_NAME or checked_name(name) not in self.names():
            others = ", ".join(n for n in self.names() if n != LOCAL_NAME) or "nobody so far"
            msg = f"nobody is admitted as {name}: admitted are {others}"
            raise BadInputError(msg)
        self._path(name).unlink()

    def who(self, public: str) -> str | None:
        """Return the name of the client with this key, None where it is not admitted."""
        for path in self._clients.glob("*.json"):
            try:
                admitted = msgspec.json.decode(path.read_bytes(), type=Admitted)
            except (OSError, msgspec.MsgspecError):
                continue
            if admitted.public == public:
                return admitted.name
        return None

    def _path(self, name: str) -> Path:
        return self._clients / f"{name}.json"

    def _admit(self, name: str, public: str) -> None:
        write_private(self._path(name), msgspec.json.encode(Admitted(name, public)))


def _put(path: Path, value: object) -> None:
    write_private(path, msgspec.json.encode(value))


def read_private(path: Path, kind: type[T]) -> T:
    """Return what a file with a secret holds.

    Raises
    ------
    ServiceError
        If it is not there, others may read it, or it is none of ours.
    """
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            content = file.read(LARGEST_KEY_FILE + 1)
        if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
            msg = (
                f"others may read the key file {path} (mode {stat.S_IMODE(mode):o}): make a new "
                f"key, or run chmod 600 {path} where nobody has read it"
            )
            raise ServiceError(msg)
        found = msgspec.json.decode(content, type=kind)
    except OSError as error:
        msg = f"the key file {path} cannot be read ({error.strerror}): make keys with: keys make"
        raise ServiceError(msg) from error
    except msgspec.MsgspecError as error:
        msg = f"{path} is no key file ({error}): make a new one with: keys make"
        raise ServiceError(msg) from error
    pair = found.pair if isinstance(found, KeyFile) else found
    keys = [pair.public, pair.secret] if isinstance(pair, Pair) else []
    keys += [found.service_public] if isinstance(found, KeyFile) else []
    if not all(_Z85_KEY.fullmatch(key) for key in keys):
        msg = f"{path} holds no key of 40 signs: make a new one with: keys make"
        raise ServiceError(msg)
    return found
