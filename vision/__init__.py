"""A picture becomes a reading: sources, dial reader, target reader, collar angle.

May import: readings, calibration.
"""

from vision.annotate import draw_reading
from vision.dial_reader import DialReader
from vision.sources import open_source
from vision.teach import teach_dial

__all__ = ["DialReader", "draw_reading", "open_source", "teach_dial"]
