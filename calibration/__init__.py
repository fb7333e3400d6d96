"""What is known before measuring: camera models, taught dials, handwheels, printed things.

May import: readings.
"""

from calibration.camera import CameraModel, load_camera, save_camera
from calibration.dials import DialStore, TaughtDial

__all__ = ["CameraModel", "DialStore", "TaughtDial", "load_camera", "save_camera"]
