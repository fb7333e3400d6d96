"""The bench as a live source of frames, in step with a clock that is handed in."""

from collections.abc import Callable, Iterator

from readings import Frame
from simulator.bench import Bench

Clock = Callable[[], float]
"""Monotonic seconds."""
Sleep = Callable[[float], None]
"""Waits for so many seconds."""


class BenchSource:
    """Frames of a bench at a steady rate (a `readings.FrameSource`); it never ends by itself.

    Bench time follows the clock, so that commands from another thread (`bench.command`)
    happen at the pace of hands. While nothing changed, the same image object comes again
    and nothing is drawn.
    """

    def __init__(self, bench: Bench, clock: Clock, sleep: Sleep, fps: float | None = None) -> None:
        self.bench = bench
        self._clock, self._sleep = clock, sleep
        self._step_s = 1.0 / (bench.spec.fps if fps is None else fps)
        self._open = True

    @property
    def name(self) -> str:
        """Identify the source."""
        return "bench"

    def frames(self) -> Iterator[Frame]:
        """Yield what the camera sees, a frame each step of the clock, until closed."""
        last_s = due_s = self._clock()
        while self._open:
            now_s = self._clock()
            self.bench.advance(max(0.0, now_s - last_s))
            last_s = now_s
            yield self.bench.render()
            due_s = max(due_s + self._step_s, self._clock() - self._step_s)
            wait_s = due_s - self._clock()
            if wait_s > 0:
                self._sleep(wait_s)

    def close(self) -> None:
        """End `frames`; may be called twice."""
        self._open = False
