"""The one registry of quality flags: a name, what raised it, the sentence a person reads.

Flags travel as their names (plain strings) in `Reading.flags`, `Sweep.flags`, results
and messages. A name that is not in `FLAGS` is a defect.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flag:
    """One quality flag."""

    name: str
    meaning: str
    sentence: str


_ALL = (
    # the picture
    Flag("unreadable file", "the file could not be decoded", "This picture file cannot be opened."),
    Flag(
        "wrong size",
        "picture size differs from the camera model's",
        "The picture has another size than the camera was calibrated with: set that size, or "
        "calibrate anew.",
    ),
    Flag(
        "black picture",
        "the picture carries no light",
        "The picture is black: check the lens cap and the lamp.",
    ),
    Flag(
        "frozen picture",
        "the same picture came again and again",
        "The picture is frozen: unplug the camera and plug it in again.",
    ),
    Flag(
        "camera gone",
        "the source stopped delivering",
        "The camera is gone: check its cable; I reopen it by myself.",
    ),
    Flag(
        "lens smeared",
        "contrast fell on the dial and all over the picture",
        "The lens is smeared: wipe it.",
    ),
    # pose of the scale
    Flag("no dial", "no scale of the taught dial was found", "I cannot see the dial."),
    Flag(
        "scale hidden",
        "too few marks in sight to fix the scale",
        "Too much of the scale is hidden or mirrored.",
    ),
    Flag("out of focus", "marks scatter as in a hopeless blur", "The dial is out of focus."),
    Flag(
        "ambiguous rotation",
        "the scale's zero could not be told apart",
        "I cannot tell which mark is zero.",
    ),
    Flag(
        "dial moving",
        "the dial moved in the picture since the one before",
        "The dial moves in the picture: I read it when it stands.",
    ),
    Flag(
        "dial changed",
        "in the middle of a turn the dial was elsewhere or out of sight for long",
        "The dial was moved, changed or out of sight in the middle: turn once more.",
    ),
    Flag(
        "clock jumped",
        "times of pictures went back, or ahead of the service's clock",
        "The camera's clock jumped: turn once more.",
    ),
    # the needle
    Flag("needle hidden", "no needle edge pair of the taught look", "I cannot see the needle."),
    Flag(
        "needle blurred",
        "the needle moved too far during the exposure",
        "The needle moves too fast for the camera.",
    ),
    Flag(
        "needle off pivot",
        "the fitted line misses the pivot",
        "What looks like the needle does not pass the pivot: a shadow or a wire?",
    ),
    Flag("needle ambiguous", "two directions fit about as well", "I see two needles."),
    # the value
    Flag(
        "ambiguous turn",
        "a whole turn may have been missed",
        "The needle jumped: a whole turn may have been missed.",
    ),
    Flag(
        "off the taught scale",
        "the reading lies outside the dial's taught travel",
        "The needle stands outside the dial's travel.",
    ),
    Flag(
        "end of travel",
        "the reading stands at the end of the dial's travel",
        "The dial is at the end of its travel.",
    ),
    Flag(
        "stylus off the work",
        "the needle rests while the angle goes on",
        "The stylus is not touching the work.",
    ),
    # the collar
    Flag("collar not seen", "no marker of the collar in sight", "I cannot see the collar."),
    Flag(
        "turning too fast", "over 60 turns a minute", "That is no hand turning: the sweep is void."
    ),
    # printed targets
    Flag(
        "target, no dial",
        "targets are looked at in this guide: no dial is read",
        "I watch the two targets; no dial is read here.",
    ),
    Flag(
        "targets not seen",
        "one of the two targets is out of sight or too much of it is hidden",
        "I cannot see both targets: 0 on what turns, 1 on what stands still.",
    ),
    Flag(
        "target seen squarely",
        "the still target's tilt cannot be told from its mirror image",
        "The still target is seen too squarely: look at it 15 degrees or more aslant.",
    ),
    Flag(
        "camera not calibrated",
        "targets are looked at without a camera model",
        "Targets need a calibrated camera: calibrate it on the Camera page, then start anew.",
    ),
    # the sweep
    Flag(
        "one way only",
        "swept one way only: retrace and lag are in the uncertainty",
        "Swept one way only; turn back once to take the dial's own lag out.",
    ),
    Flag(
        "short arc",
        "under 270 degrees or under 8 places",
        "A short arc or few places: out-of-round may hide in the centre.",
    ),
    Flag(
        "few stops",
        "under 8 places: lobes fold into the eccentricity",
        "With so few places three-lobed error cannot be told from offset.",
    ),
    Flag(
        "tir at least",
        "under 8 places or a whole turn: the highest or lowest place may lie between or beyond",
        "Not every place was touched: the true runout can be larger than what is shown.",
    ),
    Flag(
        "return differs",
        "the turn does not repeat where it overlaps itself",
        "The reading did not come back to where it began.",
    ),
    Flag(
        "outliers left out",
        "samples were rejected as outliers",
        "Some readings were left out as outliers.",
    ),
    Flag(
        "slots left out",
        "stretches where the reading fell away were left out as slots, holes or an edge",
        "The stylus fell into slots or holes; those stretches were left out.",
    ),
    Flag(
        "form within scatter",
        "the form found is no larger than the readings' own scatter makes of nothing",
        "What looks like out-of-flat may be the readings' own scatter.",
    ),
    Flag(
        "nothing to check by",
        "as few readings as the answer has unknowns: a misread would pass unseen",
        "Too few places to notice a misread; touch one or two more.",
    ),
    Flag(
        "tilted view",
        "a target's orbit is an ellipse by more than a fiftieth",
        "The camera does not look along the axis: the target's orbit is an ellipse.",
    ),
    Flag(
        "arcs disagree",
        "centres from all, kept arcs and inscribed circle differ by more than the tolerance",
        "The centre depends on which part of the wall counts: say which arcs are worn.",
    ),
    Flag(
        "arcs left out",
        "arcs were left out by hand or as falls",
        "Worn or missing arcs were left out of the centre.",
    ),
    Flag(
        "drift taken out",
        "a steady drift was found from a return and taken out",
        "The reading drifted steadily; the drift was taken out.",
    ),
    Flag(
        "dial unchecked",
        "no error table is stored for the dial",
        "The dial itself has not been checked.",
    ),
    Flag(
        "not corrected",
        "outside the steps of the dial's error table, or its turn is not known",
        "Not corrected by the dial's check: outside its steps, or the turn is not known.",
    ),
    Flag(
        "direction unknown",
        "an offset was asked for without where the sweep began and which way it went",
        "Where the sweep began and which way it turned was not said, so the offset has no "
        "direction.",
    ),
    Flag(
        "diameter unknown",
        "geometry's own second lobe was not removed",
        "The diameter is not known, so ovality is not judged.",
    ),
    Flag(
        "not round",
        "the work's own form exceeds the tolerance",
        "The bore is out of round by more than the tolerance.",
    ),
    Flag(
        "depths disagree",
        "the centres of one seat lie further from a line than they are known",
        "The depths of one seat do not lie on one straight axis: a bent seat, or a bad sweep.",
    ),
    Flag(
        "one depth only",
        "a seat was swept at one depth: it has a place but no direction",
        "The second seat was swept at one depth only, so its direction is not known.",
    ),
    Flag(
        "lever reads low",
        "a known move shows more travel than the dial, which no angle explains",
        "The lever shows less than the move, which its angle cannot explain: check the move, "
        "the tip's length and the dial.",
    ),
    Flag(
        "gain not measured",
        "a move too short, too few or with slack tells the sign alone",
        "Only the sign of the lever is known: for its gain move 0.2 mm or half the travel three "
        "times, slack taken up.",
    ),
    Flag("incomplete", "the sweep was cut short and not resumed", "This sweep was cut short."),
)

FLAGS: dict[str, Flag] = {flag.name: flag for flag in _ALL}


def flag_sentence(name: str) -> str:
    """Return the sentence a person reads for the flag `name`.

    Raises
    ------
    KeyError
        If `name` is not registered.
    """
    return FLAGS[name].sentence
