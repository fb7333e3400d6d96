"""The thread that reads pictures: an unchanged one once, a refused one again."""

import time

import numpy as np

from readings import Frame, Reading
from stream.workers import Newest, Rate, ReadingWorker

IMAGE = np.zeros((4, 4, 3), dtype=np.uint8)


class FoundAtLast:
    """As a reader that looks for a lost dial a part of the search a picture."""

    def __init__(self, at):
        self.asked, self.at = 0, at

    def read(self, frame):
        self.asked += 1
        if self.asked < self.at:
            return Reading("refused", frame.t_s, flags=("no dial",))
        return Reading("ok", frame.t_s, divisions=1.0, sigma_divisions=0.01, value_mm=0.01,
                       sigma_mm=0.0001)  # fmt: skip


def seen_of_one_picture(reader, count):
    slot, seen = Newest(), []
    worker = ReadingWorker(slot, reader, None, seen.append, Rate(time.monotonic))
    worker.start()
    try:
        for k in range(count):
            slot.put(Frame(IMAGE, 0.1 * k, k, "bench"))
            until = time.monotonic() + 5.0
            while len(seen) <= k and time.monotonic() < until:
                time.sleep(0.002)
    finally:
        worker.stop()
    assert [one.reading.t_s for one in seen] == [0.1 * k for k in range(count)]
    return [one.reading.ok for one in seen]


def test_a_picture_that_stays_is_looked_at_until_it_is_read():
    reader = FoundAtLast(3)
    assert seen_of_one_picture(reader, 6) == [False, False, True, True, True, True]
    assert reader.asked == 3


def test_what_stays_refused_is_not_looked_at_for_ever():
    reader = FoundAtLast(100)
    assert not any(seen_of_one_picture(reader, 20))
    assert reader.asked == 8
