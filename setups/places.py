"""Where the dial is read, guide by guide: places made of the sizes that were entered."""

from collections.abc import Callable, Mapping

from setups.measured import Place

Sizes = Mapping[str, float]


def along(sizes: Sizes) -> tuple[Place, ...]:
    """Return four places along a length, and the first once more: what came back is no drift."""
    length = sizes["length"]
    there = [_on_line(share * length) for share in (0.0, 1 / 3, 2 / 3, 1.0)]
    return (*there, _on_line(0.0, again=True))


def along_to_the_end(sizes: Sizes) -> tuple[Place, ...]:
    """Return places along a length and back, so that the dial ends where it is corrected."""
    length = sizes["length"]
    shares = (1.0, 2 / 3, 1 / 3, 0.0)
    there = [_on_line(share * length) for share in shares]
    return (*there, _on_line(length, again=True))


def _on_line(at_mm: float, *, again: bool = False) -> Place:
    key = f"{at_mm:g}{' again' if again else ''}"
    back = "back to " if again else "to "
    return Place(key, f"{back}{at_mm:.4g} mm", (at_mm,))


def jack_places_mm(sizes: Sizes) -> tuple[tuple[float, float], ...]:
    """Return X and Y of three jacks: 1 and 2 along the front, 3 behind them in the middle."""
    base, deep = sizes["jacks_apart"], sizes["jack_behind"]
    return (0.0, 0.0), (base, 0.0), (base / 2, deep)


def over_jacks(sizes: Sizes) -> tuple[Place, ...]:
    """Return the places over three jacks, between them, in the middle, and the first again."""
    jacks = jack_places_mm(sizes)
    spots = [(f"jack {i}", at) for i, at in enumerate(jacks, start=1)]
    for i, j in ((1, 2), (2, 3), (3, 1)):
        one, other = jacks[i - 1], jacks[j - 1]
        middle = ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)
        spots.append((f"between jacks {i} and {j}", middle))
    places = tuple(Place(name, _over(name), at) for name, at in spots)
    return (*places, Place("jack 1 again", "once more over jack 1", jacks[0]))


def _over(name: str) -> str:
    return name if name.startswith("between") else f"over {name}"


def on_both_sides(sizes: Sizes) -> tuple[Place, ...]:
    """Return three places on either side of an axis: near end, middle, far end."""
    length, half = sizes["length"], sizes["width"] / 2
    ends = (("near end", 0.0), ("middle", length / 2), ("far end", length))
    spots = [
        Place(f"{side} {name}", f"on the {side} side, {name}", (at, across))
        for side, across in (("front", -half), ("back", half))
        for name, at in ends
    ]
    first = spots[0]
    return (*spots, Place(f"{first.key} again", f"once more {first.words}", first.at_mm))


STOP_SIDES: dict[str, tuple[str, float]] = {
    "right": ("to the right", 0.0),
    "back right": ("to the back right", 45.0),
    "back": ("to the back", 90.0),
    "back left": ("to the back left", 135.0),
    "left": ("to the left", 180.0),
    "front left": ("to the front left", 225.0),
    "front": ("to the front", 270.0),
    "front right": ("to the front right", 315.0),
}
"""Eight stops of a stylus that goes round, anticlockwise seen from above: words and degrees."""


def _stops(names: tuple[str, ...]) -> tuple[Place, ...]:
    places = tuple(Place(name, STOP_SIDES[name][0], (STOP_SIDES[name][1],)) for name in names)
    again = places[0]
    return (*places, Place(f"{again.key} again", f"once more {again.words}", again.at_mm))


def stops_there(sizes: Sizes) -> tuple[Place, ...]:
    """Return eight stops anticlockwise from the right, and the right again."""
    return _stops(tuple(STOP_SIDES))


def stops_back(sizes: Sizes) -> tuple[Place, ...]:
    """Return eight stops clockwise from the right, and the right again."""
    names = tuple(STOP_SIDES)
    return _stops((names[0], *reversed(names[1:])))


LAYOUTS: dict[str, Callable[[Sizes], tuple[Place, ...]]] = {
    "along": along,
    "along-to-the-end": along_to_the_end,
    "over-jacks": over_jacks,
    "both-sides": on_both_sides,
    "stops-there": stops_there,
    "stops-back": stops_back,
}
"""Every list of places by its name in a guide."""
