"""The newest picture of a live camera, always: a thread grabs, and what nobody took is gone.

Drivers and networks queue pictures. Grabbed as they come, none grows old; who looks seldom
sees the newest.
"""

import threading
from collections.abc import Callable
from typing import Any

from vision.camera_device import Device

RELAXED_S = 1.0
"""How often a picture is decoded while nobody looks; all are grabbed."""


class Grabber(threading.Thread):
    """Grabs until the camera ends or it is stopped; keeps one picture."""

    def __init__(self, device: Device, clock: Callable[[], float], index: int = 0) -> None:
        super().__init__(name="grabber", daemon=True)
        self._device = device
        self._clock = clock
        self._changed = threading.Condition()
        self._newest: tuple[Any, float, int] | None = None
        self._ended = False
        self._stopped = threading.Event()
        self.index = index
        self.relaxed = False
        self.fault: Exception | None = None

    def run(self) -> None:
        """Grab."""
        try:
            self._grab_all()
        except Exception as error:  # noqa: BLE001 - a driver may raise anything: `take` tells
            self.fault = error
        finally:
            with self._changed:
                self._ended = True
                self._changed.notify_all()
            self._device.release()

    def _grab_all(self) -> None:
        decoded_s = float("-inf")
        while not self._stopped.is_set() and self._device.grab():
            t_s, index = self._clock(), self.index
            self.index += 1
            if self.relaxed and 0 <= t_s - decoded_s < RELAXED_S:
                continue
            good, image = self._device.retrieve()
            if not good or image is None:
                continue
            decoded_s = t_s
            with self._changed:
                self._newest = (image, t_s, index)
                self._changed.notify_all()

    def take(self, timeout_s: float) -> tuple[Any, float, int] | None:
        """Take the newest picture, its time and number; None where none came in time."""
        with self._changed:
            self._changed.wait_for(lambda: self._newest is not None or self._ended, timeout_s)
            newest, self._newest = self._newest, None
            return newest

    @property
    def ended(self) -> bool:
        """Whether no picture comes any more."""
        return self._ended and self._newest is None

    def stop(self) -> None:
        """End it; the camera is released as soon as its last grab returns."""
        self._stopped.set()
