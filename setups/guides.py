"""Every guided setup by its key, in the order in which they are offered."""

from setups.guide import Guide, Layout, Step, StepKind
from setups.guides_axis import ROTATION_AXIS
from setups.guides_centre import CENTRE_ON_BORE, CENTRE_ON_BOSS, CENTRE_ON_PLUG
from setups.guides_held import DIVIDING_HEAD, FOUR_JAW
from setups.guides_machine import TEST_BAR, TRAM_HEAD, TRAM_SQUARE
from setups.guides_pair import PROVE_PAIR, SECOND_END
from setups.guides_stops import BORE_BY_STOPS, BOSS_BY_STOPS, TRAM_BY_STOPS
from setups.guides_work import (
    BETWEEN_CENTRES,
    FACE_SQUARE,
    HUNG_CASTING,
    LEVEL_ON_JACKS,
)

__all__ = ["GUIDES", "Guide", "Layout", "Step", "StepKind"]

GUIDES: dict[str, Guide] = {
    guide.key: guide
    for guide in (
        CENTRE_ON_BORE,
        CENTRE_ON_BOSS,
        CENTRE_ON_PLUG,
        BORE_BY_STOPS,
        BOSS_BY_STOPS,
        TEST_BAR,
        ROTATION_AXIS,
        TRAM_HEAD,
        TRAM_BY_STOPS,
        FACE_SQUARE,
        TRAM_SQUARE,
        BETWEEN_CENTRES,
        LEVEL_ON_JACKS,
        HUNG_CASTING,
        FOUR_JAW,
        DIVIDING_HEAD,
        SECOND_END,
        PROVE_PAIR,
    )
}
