"""Screenshots of a walk, small, on one picture: for people to look at."""

import cv2
import numpy as np

TILE_PX = (640, 360)
ACROSS = 3


class ContactSheet:
    """Gathers screenshots with their names and writes them as one picture."""

    def __init__(self, path):
        self.path = path
        self.tiles = []

    def add(self, name, jpeg):
        shot = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
        width, height = TILE_PX
        scale = min(width / shot.shape[1], height / shot.shape[0])
        small = cv2.resize(shot, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        tile = np.full((height + 24, width, 3), 255, np.uint8)
        tile[24 : 24 + small.shape[0], : small.shape[1]] = small
        cv2.putText(tile, name, (4, 17), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1, cv2.LINE_AA)
        self.tiles.append(tile)

    def write(self):
        if not self.tiles:
            return
        blank = np.full_like(self.tiles[0], 255)
        tiles = [*self.tiles, *[blank] * (-len(self.tiles) % ACROSS)]
        rows = [np.hstack(tiles[i : i + ACROSS]) for i in range(0, len(tiles), ACROSS)]
        cv2.imwrite(str(self.path), np.vstack(rows))
