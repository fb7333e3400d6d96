"""A virtual bench that knows the truth: machine state, physics, drawn frames.

It derives its own geometry and signs, so that truth and answer share no bug. Imports
readings and, for their types, calibration.
"""

from simulator.bench import Answer, Bench
from simulator.bench_state import BenchState, BenchTruth
from simulator.dial_clip import random_clip
from simulator.dial_design import DialDesign, random_design
from simulator.dial_draw import draw_view
from simulator.dial_folder import write_drawn_dial
from simulator.dial_view import CATEGORIES, FAULTS, DialView, random_camera, random_view
from simulator.optics import camera_model
from simulator.source import BenchSource
from simulator.spec import BenchSpec, random_spec
from simulator.strip import collar
from simulator.teaching import write_teaching_folder
from simulator.works import WORKS

__all__ = [
    "CATEGORIES",
    "FAULTS",
    "WORKS",
    "Answer",
    "Bench",
    "BenchSource",
    "BenchSpec",
    "BenchState",
    "BenchTruth",
    "DialDesign",
    "DialView",
    "camera_model",
    "collar",
    "draw_view",
    "random_camera",
    "random_clip",
    "random_design",
    "random_spec",
    "random_view",
    "write_drawn_dial",
    "write_teaching_folder",
]
