"""What the workers hand to the main loop, with a wire that wakes it."""

import socket
from collections import deque

from stream.given import Seen
from stream.messages import Preview

Pictured = tuple[Preview, bytes]
MOST_PREVIEWS = 12


class Inbox:
    """Readings in order, none ever dropped; of each camera's previews the newest few."""

    def __init__(self) -> None:
        self.wire, self._ringer = socket.socketpair()
        self.wire.setblocking(False)
        self._ringer.setblocking(False)
        self._seen: deque[tuple[str, Seen]] = deque()
        self._previews: deque[tuple[str, Pictured]] = deque(maxlen=MOST_PREVIEWS)

    def put_seen(self, camera: str, seen: Seen) -> None:
        """Hand in a read picture."""
        self._seen.append((camera, seen))
        self.ring()

    def put_preview(self, camera: str, preview: Preview, jpeg: bytes) -> None:
        """Hand in a preview; where too many wait the oldest is given up."""
        self._previews.append((camera, (preview, jpeg)))
        self.ring()

    def ring(self) -> None:
        """Wake the main loop; a full wire wakes it as well."""
        try:
            self._ringer.send(b"!")
        except OSError:
            return

    def empty(self) -> tuple[list[tuple[str, Seen]], list[tuple[str, Pictured]]]:
        """Take out everything that waits."""
        try:
            while self.wire.recv(4096):
                pass
        except OSError:
            pass
        previews = [self._previews.popleft() for _ in range(len(self._previews))]
        seen = [self._seen.popleft() for _ in range(len(self._seen))]
        return seen, previews

    def close(self) -> None:
        """Close the wire."""
        self.wire.close()
        self._ringer.close()
