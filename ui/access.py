"""From where the dashboard can be opened: loopback, or a network behind a passphrase."""

import socket
import ssl
from dataclasses import dataclass
from pathlib import Path

from readings import BadInputError
from stream.guard import LOOPBACK, parse_address
from ui.passphrase import Passphrase


@dataclass(frozen=True, slots=True)
class Access:
    """From where the dashboard can be opened: loopback, or a network behind a passphrase."""

    host: str = LOOPBACK
    passphrase: Passphrase | None = None
    certificate: Path | None = None
    private_key: Path | None = None

    @property
    def scheme(self) -> str:
        """What its address begins with."""
        return "http" if self.certificate is None else "https"

    @property
    def shown(self) -> str:
        """The host to type."""
        if self.host in ("0.0.0.0", "::"):  # noqa: S104 - asked for by the person
            return socket.gethostname()
        return f"[{self.host}]" if ":" in self.host else self.host


ON_LOOPBACK = Access()


def access_of(
    home: Path, network: str | None, certificate: Path | None, private_key: Path | None
) -> Access:
    """Return how a dashboard may be opened.

    Raises
    ------
    BadInputError
        If it is to be on a network and no passphrase is set, or the certificate is not whole.
    """
    if (certificate is None) != (private_key is None):
        msg = "a certificate goes with its key: give both --certificate and --private-key"
        raise BadInputError(msg)
    if certificate is not None and private_key is not None:
        _check_certificate(certificate, private_key)
    if network is None:
        return Access(certificate=certificate, private_key=private_key)
    passphrase = Passphrase(home)
    if not passphrase.made:
        msg = (
            "on a network the dashboard is behind a passphrase, and none is set: "
            "set one with: sparehand keys passphrase"
        )
        raise BadInputError(msg)
    host, _ = parse_address(network)
    return Access(host, passphrase, certificate, private_key)


def _check_certificate(certificate: Path, private_key: Path) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, private_key)
    except (OSError, ssl.SSLError) as error:
        msg = (
            f"the certificate {certificate} with the key {private_key} cannot be used ({error}): "
            "give two PEM files that belong together"
        )
        raise BadInputError(msg) from error
