"""A virtual bench that knows the truth: machine state, physics, drawn frames.

It derives its own geometry and signs, so that truth and answer share no bug. Imports
readings and, for their types, calibration.
"""

from simulator.bench import Answer, Bench, BenchState, BenchTruth
from simulator.optics import camera_model
from simulator.source import BenchSource
from simulator.spec import BenchSpec, random_spec
from simulator.strip import collar
from simulator.teaching import write_teaching_folder

__all__ = [
    "Answer",
    "Bench",
    "BenchSource",
    "BenchSpec",
    "BenchState",
    "BenchTruth",
    "camera_model",
    "collar",
    "random_spec",
    "write_teaching_folder",
]
