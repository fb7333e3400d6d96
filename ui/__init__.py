"""The person's side: command line (where everything is put together), dashboard, speech and sound.

May import every room; hands the simulator to the service as a source.
"""

import os

# OpenCV reads these when it is first imported; what it would print, we say in our own words.
os.environ.setdefault("OPENCV_LOG_LEVEL", "OFF")
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
