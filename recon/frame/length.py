"""Lengths as people write and read them, and one measured length that gives a frame its size."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from recon.errors import ReconError

MM_PER_IN = 25.4  # exact: international yard and pound agreement, 1959
_MM_PER = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_IN,
    "inch": MM_PER_IN,
    "inches": MM_PER_IN,
    '"': MM_PER_IN,
    "ft": 12 * MM_PER_IN,
    "foot": 12 * MM_PER_IN,
    "feet": 12 * MM_PER_IN,
    "'": 12 * MM_PER_IN,
}
LONGEST_MM = 100_000.0  # longer than any member: a slip of the unit
NOISE_MM = 1e-6  # far below what is said, far above the last bits of a sum
SIXTEENTHS = 16  # what a tape measure is marked in
# How sentences begin that say the size in mm is not sure, so that one measured length can take them back.
NOT_SURE, NO_RATIOS, MEASURED = SIZE_DOUBTS = (
    "The size in millimetres is not sure",
    "No entry of the stock list has these ratios",
    "The measured length",
)

_NUMBER = r"(?:\d+(?:[.,]\d+)?(?:[ -]\d+/\d+)?|\d+/\d+)"
_UNIT = "|".join(sorted(map(re.escape, _MM_PER), key=len, reverse=True))
_TERM = re.compile(rf"\s*({_NUMBER})\s*({_UNIT})", re.IGNORECASE)


def mm_text(mm: float) -> str:
    """Millimetres to the nearest tenth where that matters: '38.1 mm', '610 mm'.

    Halves go up whatever a sum's last bit is, so that one length is said in one way.

    Examples
    --------
    >>> mm_text(38.1), mm_text(609.6), mm_text(610.02), mm_text(13.5 * 38.1), mm_text(514.3499999999999)
    ('38.1 mm', '609.6 mm', '610 mm', '514.4 mm', '514.4 mm')
    """
    return f"{round(mm + math.copysign(NOISE_MM, mm), 1):.1f}".removesuffix(".0") + " mm"


def inch_text(mm: float) -> str:
    """Inches to the nearest sixteenth.

    Examples
    --------
    >>> inch_text(609.6), inch_text(612.775), inch_text(38.1), inch_text(11.1)
    ('24 in', '24 1/8 in', '1 1/2 in', '7/16 in')
    """
    whole, part = divmod(round(mm / MM_PER_IN * SIXTEENTHS), SIXTEENTHS)
    fraction = str(Fraction(part, SIXTEENTHS)) if part else ""
    return " ".join(filter(None, [str(whole) if whole or not part else "", fraction])) + " in"


def fine_inch_text(mm: float) -> str:
    """Inches to the nearest thirty-second, for lines to saw or drill at.

    Examples
    --------
    >>> fine_inch_text(611.2), fine_inch_text(609.6), fine_inch_text(19.05)
    ('24 1/16 in', '24 in', '3/4 in')
    """
    whole, part = divmod(round(mm / MM_PER_IN * 2 * SIXTEENTHS), 2 * SIXTEENTHS)
    fraction = str(Fraction(part, 2 * SIXTEENTHS)) if part else ""
    return " ".join(filter(None, [str(whole) if whole or not part else "", fraction])) + " in"


def both_text(mm: float) -> str:
    """Both: '609.6 mm (24 in)'."""
    return f"{mm_text(mm)} ({inch_text(mm)})"


def parse_mm(text: str) -> float:
    """A length in mm from '610 mm', '61 cm', '24 in', '24 1/8 in', '24-1/8"', '2 ft 3 in' or '609,6 mm'.

    Raises
    ------
    ReconError
        Where it is no length, has no unit, or is not above 0 and at most 100 m.

    Examples
    --------
    >>> parse_mm("24 1/8 in"), parse_mm("61 cm")
    (612.775, 610.0)
    """
    plain = _plain(text)
    total, at = 0.0, 0
    while match := _TERM.match(plain, at):
        try:
            total += _number(match[1]) * _MM_PER[match[2].lower()]
        except ZeroDivisionError:
            raise ReconError(f"'{text.strip()}' is not a length: it divides by 0.") from None
        at = match.end()
    if at == 0 and re.fullmatch(rf"\s*{_NUMBER}\s*", plain):
        raise ReconError(f"'{text.strip()}' has no unit; write '{text.strip()} mm' or '{text.strip()} in'.")
    if at == 0 or plain[at:].strip():
        raise ReconError(f"'{text.strip()}' is not a length; write it like '610 mm' or '24 1/8 in'.")
    if not 0 < total <= LONGEST_MM:
        raise ReconError(
            f"'{text.strip()}' cannot be: a length is more than 0 and at most 100 m; check the unit."
        )
    return total


def _plain(text: str) -> str:
    """One way to write fractions, quotes and spaces: 24½ and 24 1⁄2 become 24 1/2."""
    spaced = "".join(f" {c}" if unicodedata.category(c) == "No" else c for c in text)
    spaced = spaced.translate(
        str.maketrans("\u2033\u201d\u2032\u2019", "\"\"''")
    )  # before NFKC, which halves a double prime
    plain = unicodedata.normalize("NFKC", spaced).replace("\u2044", "/")
    return re.sub(r"\s+", " ", plain).strip()


def _number(text: str) -> float:
    parts = re.split(r"[ -]", text.replace(",", "."))
    return float(sum(Fraction(part) for part in parts))


@dataclass(frozen=True)
class KnownLength:
    """One length that the user measured.  Exactly one of the other fields says what was measured.

    Attributes
    ----------
    mm : float
    member : str, optional
        A member's label, measured from end to end.
    holes : int, optional
        Any member of so many holes, from end to end.
    photo : str, optional
        The photo that `points_px` lie on.
    points_px : tuple of two points (x, y), optional
        The centres of two openings of one member, px.
    """

    mm: float
    member: str | None = None
    holes: int | None = None
    photo: str | None = None
    points_px: tuple[tuple[float, float], tuple[float, float]] | None = None


FORMS = (
    "'A = 610 mm' (member A from end to end), '16 holes = 24 1/8 in' (a member of 16 holes from end to end) "
    "or ''photo_1.jpg 310,420 820,455 = 610 mm' (between two openings, in pixels of the photo)"
)
_HOLES = re.compile(r"(\d{1,4}) *(?:holes?|h)", re.IGNORECASE)
_POINT = r"\(?(\d+(?:\.\d+)?) *, *(\d+(?:\.\d+)?)\)?"
_POINTS = re.compile(rf"(.+?) +{_POINT} +(?:to +|- +)?{_POINT}")


def parse_known_length(text: str) -> KnownLength:
    """What the user measured, from one of `FORMS`; ':' does for '='.

    Raises
    ------
    ReconError
        That names the forms, where it is none of them.

    Examples
    --------
    >>> parse_known_length("A = 610 mm")
    KnownLength(mm=610.0, member='A', holes=None, photo=None, points_px=None)
    """
    what, sign, length = _split(text)
    if not sign or not what:
        raise ReconError(f"'{text}' does not say what was measured; write {FORMS}.")
    mm = parse_mm(length)
    if match := _POINTS.fullmatch(what):
        x1, y1, x2, y2 = map(float, match.groups()[1:])
        if math.hypot(x2 - x1, y2 - y1) < 5:
            raise ReconError(
                f"'{text}': the two openings are in the same place; give two that are well apart."
            )
        return KnownLength(mm, photo=match[1], points_px=((x1, y1), (x2, y2)))
    if match := _HOLES.fullmatch(what):
        if int(match[1]) < 1:
            raise ReconError(f"'{text}': a member has at least 1 hole.")
        return KnownLength(mm, holes=int(match[1]))
    if re.fullmatch(r"[A-Za-z]{1,3}", what):
        return KnownLength(mm, member=what.upper())
    raise ReconError(f"'{what}' is neither a member, nor a number of holes, nor two openings; write {FORMS}.")


def _split(text: str) -> tuple[str, str, str]:
    """Before the last '=' (or ':' where there is none), the sign, and after it."""
    for sign in "=:":
        before, found, after = text.rpartition(sign)
        if found:
            return re.sub(r"\s+", " ", before).strip(), found, after
    return "", "", text
