"""What is said, as a British or an American machinist says it, in millimetres or in inches.

Screens keep figures; a voice needs words: signs, units, thou and tenths.
"""

import re
from collections.abc import Mapping
from typing import Literal

from readings import MM_PER_INCH

Voice = Literal["en-GB", "en-US"]
SpokenUnit = Literal["mm", "in"]
VOICES: tuple[Voice, ...] = ("en-GB", "en-US")
UNITS: tuple[SpokenUnit, ...] = ("mm", "in")

_LENGTH = re.compile(r"([+-]?)(\d+(?:\.\d+)?) mm\b")
_SIGNED = re.compile(r"(?<![\w.])([+-])(?=\d)")
_SIGN_WORDS = {"+": "plus ", "-": "minus ", "": ""}
_MILLIMETRES: Mapping[Voice, str] = {"en-GB": "millimetres", "en-US": "millimeters"}
_THOU: Mapping[Voice, tuple[str, str]] = {
    "en-GB": ("thou", "thou"),
    "en-US": ("thousandth", "thousandths"),
}
_AMERICAN = (
    ("anticlockwise", "counterclockwise"),
    ("centring", "centering"),
    ("centre", "center"),
    ("spanner", "wrench"),
    ("millimetre", "millimeter"),
    ("labelled", "labeled"),
)


def spoken(text: str, voice: Voice, unit: SpokenUnit) -> str:
    """Return a told sentence as it is spoken.

    >>> spoken("Table right, 0.058 mm. Needle to -5.6 divisions.", "en-GB", "mm")
    'Table right, 0.058 millimetres. Needle to minus 5.6 divisions.'
    >>> spoken("Table right, 0.058 mm.", "en-US", "in")
    'Table right, 2 thousandths and 3 tenths.'
    """
    said = _LENGTH.sub(lambda found: _length(found, voice, unit), text)
    said = _SIGNED.sub(lambda found: _SIGN_WORDS[found[1]], said)
    return _american(said) if voice == "en-US" else said


def _length(found: re.Match[str], voice: Voice, unit: SpokenUnit) -> str:
    sign, figure = found.groups()
    if unit == "mm":
        return f"{_SIGN_WORDS[sign]}{figure} {_MILLIMETRES[voice]}"
    return _SIGN_WORDS[sign] + inch_words(float(figure), voice)


def inch_words(length_mm: float, voice: Voice) -> str:
    """Return a length as machinists say it: inches, thou, and tenths of a thou.

    >>> inch_words(0.0254, "en-GB"), inch_words(0.0025, "en-GB"), inch_words(31.75, "en-GB")
    ('1 thou', '1 tenth', '1 inch 250 thou')
    """
    tenths = round(length_mm / MM_PER_INCH * 10_000)
    inches, tenths = divmod(tenths, 10_000)
    thou, tenths = divmod(tenths, 10)
    one, many = _THOU[voice]
    words = []
    if inches:
        words.append(f"{inches} inch" if inches == 1 else f"{inches} inches")
    if thou:
        words.append(f"{thou} {one if thou == 1 else many}")
    if tenths:
        last = f"{tenths} tenth" if tenths == 1 else f"{tenths} tenths"
        words.append(f"and {last}" if words else last)
    return " ".join(words) or "less than a tenth"


def _american(text: str) -> str:
    for british, american in _AMERICAN:
        text = text.replace(british, american)
        text = text.replace(british.capitalize(), american.capitalize())
    return text


def all_ways(text: str) -> dict[str, str]:
    """Return a sentence in every voice and unit, by keys such as ``en-GB mm``."""
    return {f"{voice} {unit}": spoken(text, voice, unit) for voice in VOICES for unit in UNITS}
