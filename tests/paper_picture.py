"""Pictures that carry reading and collar angle as black and white squares: JPEG leaves them be."""

from math import pi

import numpy as np
from stream_kit import collar, reading

SQUARE = 16
BITS = 24
UM = 10_000.0
"""Steps of a value: a tenth of a micrometre."""

TURN = 2**BITS


def draw(value_mm, collar_rad, *, grey=90):
    """Return a picture that says this."""
    words = [round(value_mm * UM) + TURN // 2, round(collar_rad / (2 * pi) * TURN) % TURN]
    bits = [[word >> i & 1 for i in range(BITS)] for word in words]
    squares = np.kron(np.array(bits, np.uint8) * 200 + 20, np.ones((SQUARE, SQUARE), np.uint8))
    image = np.full((180, BITS * SQUARE, 3), grey, np.uint8)
    image[: 2 * SQUARE] = squares[..., None]
    image.flags.writeable = False
    return image


def words_of(image):
    """Return what a picture says."""
    rows = image[SQUARE // 2 : 2 * SQUARE : SQUARE, SQUARE // 2 :: SQUARE, 1] > 120
    value, angle = (sum(int(bit) << i for i, bit in enumerate(row)) for row in rows)
    return (value - TURN // 2) / UM, angle / TURN * 2 * pi


class ReadsPaper:
    """Reads the dial."""

    def read(self, frame):
        if frame.image is None:
            return reading(frame.t_s, None)
        return reading(frame.t_s, words_of(frame.image)[0])


class CollarOfPaper:
    """Reads the collar."""

    def read(self, frame):
        return None if frame.image is None else collar(frame.t_s, words_of(frame.image)[1])
