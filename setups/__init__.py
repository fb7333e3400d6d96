"""Numbers become advice: each guided setup as data, one pure state machine, the checklists.

Time is an argument everywhere. May import readings, calibration and sweeps.
"""

from setups.advice import Advice, Move
from setups.checklists import BEFORE_HANDS, BEFORE_POWER, CAUTION, CHECKLISTS, ticked
from setups.guides import GUIDES, Guide, Step
from setups.machine import advance, after_restart, guide_of, step_of
from setups.measured import Do, Measured, SizeAsked, VerdictWord
from setups.state import (
    CameraBack,
    CameraLost,
    Clock,
    Event,
    Finish,
    Found,
    Instrument,
    KeepMeasured,
    KeepResult,
    KeepTick,
    KeepTurn,
    Next,
    SetupState,
    Sized,
    Still,
    Touched,
    Turned,
    Void,
)
from setups.telling import advise, flag_lines

__all__ = [
    "BEFORE_HANDS",
    "BEFORE_POWER",
    "CAUTION",
    "CHECKLISTS",
    "GUIDES",
    "Advice",
    "CameraBack",
    "CameraLost",
    "Clock",
    "Do",
    "Event",
    "Finish",
    "Found",
    "Guide",
    "Instrument",
    "KeepMeasured",
    "KeepResult",
    "KeepTick",
    "KeepTurn",
    "Measured",
    "Move",
    "Next",
    "SetupState",
    "SizeAsked",
    "Sized",
    "Step",
    "Still",
    "Touched",
    "Turned",
    "VerdictWord",
    "Void",
    "advance",
    "advise",
    "after_restart",
    "flag_lines",
    "guide_of",
    "step_of",
    "ticked",
]
