"""Every guide but centring by turns, its work on paper: made at random, where its dial goes.

SCENES put something right; TELLING only tell numbers, each beside its truth.
"""

from dataclasses import dataclass

from paper_works import (
    PaperBar,
    PaperBore,
    PaperBoss,
    PaperCentres,
    PaperChuck,
    PaperFace,
    PaperHead,
    PaperHung,
    PaperJacks,
    PaperPair,
    PaperSquare,
)


def at_x(work, place):
    work.x_mm = place.at_mm[0]


def at_z(work, place):
    work.z_mm = place.at_mm[0]


def at_spot(work, place):
    work.at_mm = place.at_mm


def to_side(work, key):
    if key in ("to-side", "to-top"):
        work.beside = key == "to-side"
        work.x_mm = work.length_mm


@dataclass
class Scene:
    """How one guide's work is made at random, where its dial goes, what changes by a touch."""

    make: object
    sizes: dict
    at: object = None
    changed: object = None
    told: object = None
    """Of a guide that only tells: (told, truth, standard uncertainty) of each of its numbers,
    the judged one last."""

    def surely_wrong(self, work, found):
        """Return which numbers lie over three standard uncertainties from the truth."""
        return [one for one in self.told(work, found) if abs(one[0] - one[1]) > 3 * one[2]]


def head(rng):
    return PaperHead(
        rng,
        lean=rng.uniform(-0.4, 0.4, 2) / 300,
        bowl_mm=rng.uniform(0, 0.004),
        lock_lean=rng.uniform(-0.008, 0.008, 2) / 300,
    )


def jacks(rng):
    return PaperJacks(rng, heights_mm=rng.uniform(-0.6, 0.6, 3), rough_mm=rng.uniform(0, 0.005))


def rough(kind):
    """A bore or a boss centred roughly."""
    return lambda rng: kind(rng, off=rng.uniform(-0.3, 0.3, 2), oval_mm=rng.uniform(0, 0.02))


def at_stop(work, place):
    work.turn_to(place.at_mm[0])


SCENES = {
    "tram-head-stops": Scene(head, {"arm": 100.0}, at_stop),
    "centre-bore-stops": Scene(rough(PaperBore), {"diameter": 52.0}, at_stop),
    "centre-boss-stops": Scene(rough(PaperBoss), {"diameter": 52.0}, at_stop),
    "tram-head": Scene(head, {"arm": 100.0}),
    "face-square": Scene(
        lambda rng: PaperFace(rng, slope=rng.uniform(-0.5, 0.5, 2) / 300),
        {"arm": 80.0, "supports_x": 200.0, "supports_y": 150.0},
    ),
    "four-jaw": Scene(
        lambda rng: PaperChuck(rng, off=rng.uniform(-0.6, 0.6, 2), oval_mm=rng.uniform(0, 0.01)),
        {"jaw_pitch": 4.0},
    ),
    "dividing-head": Scene(
        lambda rng: PaperChuck(rng, off=rng.uniform(-0.6, 0.6, 2), oval_mm=rng.uniform(0, 0.01)),
        {},
    ),
    "between-centres": Scene(
        lambda rng: PaperCentres(
            rng, up_mm=rng.uniform(-0.2, 0.2), front_mm=rng.uniform(-0.2, 0.2), x_mm=150.0
        ),
        {"length": 150.0},
        at_x,
        to_side,
    ),
    "level-jacks": Scene(
        jacks, {"jacks_apart": 200.0, "jack_behind": 150.0, "pitch": 1.5}, at_spot
    ),
    "hung-casting": Scene(
        lambda rng: PaperHung(
            rng, roll=rng.uniform(-0.008, 0.008), lumps_mm=rng.uniform(-0.2, 0.2, (2, 3))
        ),
        {"length": 180.0, "width": 120.0, "jack_pair": 140.0, "pitch": 1.5},
        at_spot,
    ),
}

DEPTHS = {"to-first-lower": -15.0, "to-second-upper": -100.0, "to-second-lower": -115.0}


SECOND_END = {
    "clearance": 0.02,
    "plug_tir": 0.006,
    "face_error": 0.02,
    "face_across": 100.0,
    "seat_near": 80.0,
    "seat_length": 20.0,
}


def to_height(work, key):
    if key == "lower":
        work.height_mm = -200.0


def to_other_side(work, key):
    if key == "reverse":
        work.looks_right, work.z_mm = False, 0.0


def deeper(work, key):
    if key in DEPTHS:
        work.z_mm, work.on_second = DEPTHS[key], "second" in key


def bar(rng):
    off, lean = rng.uniform(-0.01, 0.01, 2), rng.uniform(-0.03, 0.03, 2) / 300
    return PaperBar(rng, off=off, lean=lean, oval_mm=0.001)


def square(rng):
    own, travel = rng.uniform(-0.03, 0.03, 2) / 120
    return PaperSquare(rng, square=own, travel=travel)


def pair(rng):
    held, skew = rng.uniform(-0.1, 0.1, 2), rng.uniform(-1e-4, 1e-4, 2)
    off, lean = rng.uniform(-0.03, 0.03, 2), rng.uniform(-2e-4, 2e-4, 2)
    return PaperPair(rng, first=(held, skew), second=(held + off, skew + lean))


def tellers(**truths):
    """Tell numbers by their keys, each beside what a work says of itself."""

    def told(work, found):
        numbers = [(found.number(key), truth(work)) for key, truth in truths.items()]
        return [(number.value, truth, number.u) for number, truth in numbers]

    return told


def centre_told(work, found):
    """Second end: what is known of it is what centring on the plug left, twice its length."""
    return [
        (found.number("coaxiality").value, 2 * work.off_mm(), 2 * dict(found.budget)["centring"])
    ]


TELLING = {
    "test-bar": Scene(
        bar,
        {"apart": 200.0},
        None,
        to_height,
        tellers(tir_near=lambda work: work.tir_mm(0.0), tir_far=lambda work: work.tir_mm(-200.0)),
    ),
    "tram-square": Scene(
        square,
        {"length": 120.0},
        at_z,
        to_other_side,
        tellers(machine=lambda work: -120.0 * work.travel, square=lambda work: 120.0 * work.square),
    ),
    "second-end": Scene(
        lambda rng: PaperChuck(rng, off=rng.uniform(-0.01, 0.01, 2)), SECOND_END, told=centre_told
    ),
    "prove-pair": Scene(
        pair, {}, None, deeper, tellers(coaxiality=lambda work: work.apart_mm((-100.0, -115.0)))
    ),
}


READER_DIVISIONS = {"clean": 0.0065, "tilt": 0.0108, "glare": 0.0064, "dim": 0.0103,
                    "defocus": 0.0136, "motion": 0.0260, "part": 0.0067}  # fmt: skip
"""The reader's mean sigma in each light, as measured on path-traced faces (bench_reading.py),
where 95 % of the errors lay within two of it."""
GRADUATION_MM = 0.01
