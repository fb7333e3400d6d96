"""Numbers become advice: each guided setup as data, one pure state machine, the checklists.

Time is an argument everywhere. May import readings, calibration and sweeps.
"""

from setups.advice import Advice, Move
from setups.arcs import offered as arcs_offered
from setups.checklists import (
    BEFORE_HANDS,
    BEFORE_POWER,
    CAUTION,
    CHECKLISTS,
    PEDAL_NOTE,
    ShopLine,
    list_of,
    ticked,
)
from setups.guides import GUIDES, Guide, Step
from setups.machine import advance
from setups.measured import Do, Measured, SizeAsked, VerdictWord
from setups.state import (
    CameraBack,
    CameraLost,
    Changed,
    Clock,
    DegArc,
    Event,
    Finish,
    Found,
    Instrument,
    KeepMeasured,
    KeepResult,
    KeepTick,
    KeepTurn,
    LeftOut,
    Next,
    SetupState,
    Sized,
    Still,
    Touched,
    Turned,
    Void,
)
from setups.steps import after_restart, guide_of, step_of
from setups.telling import advise, flag_lines
from setups.words import arc_words

__all__ = [
    "BEFORE_HANDS",
    "BEFORE_POWER",
    "CAUTION",
    "CHECKLISTS",
    "GUIDES",
    "PEDAL_NOTE",
    "Advice",
    "CameraBack",
    "CameraLost",
    "Changed",
    "Clock",
    "DegArc",
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
    "LeftOut",
    "Measured",
    "Move",
    "Next",
    "SetupState",
    "ShopLine",
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
    "arc_words",
    "arcs_offered",
    "flag_lines",
    "guide_of",
    "list_of",
    "step_of",
    "ticked",
]
