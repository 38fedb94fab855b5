"""Bolts, nuts and washers: tables of the standards, and the bolt for a hole and a grip.

No standard was at hand: every value below is from memory, and so are the lists of lengths. The tests
compare some of them with further values recalled on their own, and the stock list's holes with the
clearance holes.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.length import MM_PER_IN, inch_text, mm_text
from recon.frame.stock import Stock

STEEL_KG_M3 = 7850  # carbon steel, EN 1991-1-1 table A.4 gives 77 to 78.5 kN/m^3; from memory
# Whole threads past the nut with nut and washers at their thickest: common practice, no source.
THREADS_PAST_NUT = 1
HALF_UNIT_MM = 0.05  # holes are listed to a tenth of a mm: 11.1 for 7/16 in
INCH_STEP_MM = MM_PER_IN / 8


@dataclass(frozen=True)
class Thread:
    """One size of hexagon bolt with its nut and plain washer.

    Attributes
    ----------
    name : str
        'M8', '5/16-18'.
    system : "metric" or "inch"
        The standard's system.
    d_mm, pitch_mm : float
        Nominal diameter, and pitch of the thread.
    clearance_mm : (3,)
        The hole for a fine (close), medium (normal) and coarse (loose) fit.
    nut_mm : float
        Greatest height of the nut.
    flats_mm : float
        Across the flats of head and nut: the spanner.
    head_mm : float
        Height of the head.
    washer_mm, washer_max_mm : float
        Thickness of the washer, nominal and greatest.
    washer_in_mm, washer_out_mm : float
        Its inner and outer diameters.
    """

    name: str
    system: str
    d_mm: float
    pitch_mm: float
    clearance_mm: tuple[float, float, float]
    nut_mm: float
    flats_mm: float
    head_mm: float
    washer_mm: float
    washer_max_mm: float
    washer_in_mm: float
    washer_out_mm: float


_Fits = tuple[float, float, float]
_Washer = tuple[float, float, float, float]  # inside, outside, thickness, greatest thickness


def _metric(
    d: int, pitch: float, clearance: _Fits, nut: float, flats: float, head: float, washer: _Washer
) -> Thread:
    inside, outside, thick, thickest = washer
    return Thread(f"M{d}", "metric", d, pitch, clearance, nut, flats, head, thick, thickest, inside, outside)


# Coarse thread pitch ISO 261; clearance holes ISO 273 (fine, medium, coarse); nut height m max ISO 4032;
# width across flats ISO 272; head height ISO 4014; washer ISO 7089 (d1, d2, h, h max).  From memory.
METRIC = tuple(
    _metric(*row)
    for row in (
        (4, 0.70, (4.3, 4.5, 4.8), 3.2, 7, 2.8, (4.3, 9, 0.8, 0.9)),
        (5, 0.80, (5.3, 5.5, 5.8), 4.7, 8, 3.5, (5.3, 10, 1.0, 1.1)),
        (6, 1.00, (6.4, 6.6, 7.0), 5.2, 10, 4.0, (6.4, 12, 1.6, 1.8)),
        (8, 1.25, (8.4, 9.0, 10.0), 6.8, 13, 5.3, (8.4, 16, 1.6, 1.8)),
        (10, 1.50, (10.5, 11.0, 12.0), 8.4, 16, 6.4, (10.5, 20, 2.0, 2.2)),
        (12, 1.75, (13.0, 13.5, 14.5), 10.8, 18, 7.5, (13.0, 24, 2.5, 2.7)),
        (16, 2.00, (17.0, 17.5, 18.5), 14.8, 24, 10.0, (17.0, 30, 3.0, 3.3)),
        (20, 2.50, (21.0, 22.0, 24.0), 18.0, 30, 12.5, (21.0, 37, 3.0, 3.3)),
        (24, 3.00, (25.0, 26.0, 28.0), 21.5, 36, 15.0, (25.0, 44, 4.0, 4.3)),
    )
)


def _inch(
    name: str,
    per_inch: int,
    d: float,
    clearance: _Fits,
    nut: float,
    flats: float,
    head: float,
    washer: _Washer,
) -> Thread:
    inside, outside, thick, thickest = (x * MM_PER_IN for x in washer)
    close, normal, loose = (x * MM_PER_IN for x in clearance)
    return Thread(
        name=f"{name}-{per_inch}",
        system="inch",
        d_mm=d * MM_PER_IN,
        pitch_mm=1 / per_inch * MM_PER_IN,
        clearance_mm=(close, normal, loose),
        nut_mm=nut * MM_PER_IN,
        flats_mm=flats * MM_PER_IN,
        head_mm=head * MM_PER_IN,
        washer_mm=thick,
        washer_max_mm=thickest,
        washer_in_mm=inside,
        washer_out_mm=outside,
    )


# Threads to the inch UNC, ASME B1.1; clearance holes ASME B18.2.8 (close, normal, loose); hex nut, greatest
# thickness and width across flats, ASME B18.2.2; hex bolt head, greatest height, ASME B18.2.1; plain washer
# type A, narrow series, ASME B18.21.1 (inside, outside, thickness, greatest).  From memory.
INCH = tuple(
    _inch(*row)
    for row in (
        ("1/4", 20, 0.25, (17 / 64, 9 / 32, 19 / 64), 0.226, 7 / 16, 0.163, (0.281, 0.625, 0.065, 0.080)),
        ("5/16", 18, 0.3125, (21 / 64, 11 / 32, 23 / 64), 0.273, 1 / 2, 0.211, (0.344, 0.688, 0.065, 0.080)),
        ("3/8", 16, 0.375, (25 / 64, 13 / 32, 27 / 64), 0.337, 9 / 16, 0.243, (0.406, 0.812, 0.065, 0.080)),
        (
            "7/16",
            14,
            0.4375,
            (29 / 64, 15 / 32, 31 / 64),
            0.385,
            11 / 16,
            0.291,
            (0.469, 0.922, 0.065, 0.080),
        ),
        ("1/2", 13, 0.5, (17 / 32, 9 / 16, 39 / 64), 0.448, 3 / 4, 0.323, (0.531, 1.062, 0.095, 0.121)),
        ("5/8", 11, 0.625, (21 / 32, 11 / 16, 47 / 64), 0.559, 15 / 16, 0.403, (0.656, 1.312, 0.095, 0.121)),
        ("3/4", 10, 0.75, (25 / 32, 13 / 16, 29 / 32), 0.665, 9 / 8, 0.483, (0.812, 1.469, 0.134, 0.160)),
        ("7/8", 9, 0.875, (29 / 32, 15 / 16, 33 / 32), 0.776, 21 / 16, 0.563, (0.938, 1.750, 0.134, 0.160)),
        ("1", 8, 1.0, (33 / 32, 35 / 32, 37 / 32), 0.887, 3 / 2, 0.627, (1.062, 2.000, 0.134, 0.160)),
    )
)
THREADS = METRIC + INCH

# Lengths under head.  ISO 888, those not in brackets, which ISO 4014 lists: from memory.
METRIC_LENGTHS_MM = (12, 16, *range(20, 70, 5), 70, 80, 90, *range(100, 160, 10), *range(160, 501, 20))
# ASME B18.2.1 lengths as stocked: by 1/8 in to 1 in, 1/4 in to 4 in, 1/2 in to 8 in, 1 in above: from memory.
INCH_LENGTHS_MM = tuple(
    n * INCH_STEP_MM for n in (*range(4, 8), *range(8, 32, 2), *range(32, 64, 4), *range(64, 161, 8))
)


def bolt_system(stock: Stock) -> str:
    """The system of bolts for a stock: "inch" where its pitch is a whole number of eighths of an inch."""
    return system_of_pitch(stock.pitch_mm)


def system_of_pitch(pitch_mm: float | None) -> str:
    """The system of bolts, "metric" or "inch", by the pitch (None: not known, and metric).

    >>> system_of_pitch(38.1), system_of_pitch(40.0)
    ('inch', 'metric')
    """
    if pitch_mm is None:
        return "metric"
    eighths = pitch_mm / INCH_STEP_MM
    return "inch" if abs(eighths - round(eighths)) < 1e-3 else "metric"


def thread_for(hole_mm: float, system: str) -> Thread:
    """The largest thread whose normal clearance hole is no larger than the hole.

    Parameters
    ----------
    hole_mm : float
        Diameter of the hole.
    system : "metric" or "inch"
        Clearance holes are ISO 273 medium, or ASME B18.2.8 normal.

    Raises
    ------
    ReconError
        Where the hole is smaller than that of the smallest thread.

    Examples
    --------
    >>> thread_for(9.5, "metric").name, thread_for(9.5, "inch").name
    ('M8', '5/16-18')
    """
    table = METRIC if system == "metric" else INCH
    fitting = [t for t in table if t.clearance_mm[1] <= hole_mm + HALF_UNIT_MM]
    if not fitting:
        raise ReconError(
            f"A hole of {mm_text(hole_mm)} takes no {system} bolt: the smallest, {table[0].name}, needs "
            f"{mm_text(table[0].clearance_mm[1])}; use the other system, or drill larger holes."
        )
    return fitting[-1]


def find_thread(name: str) -> Thread:
    """The thread of this name: 'M8', '5/16', '5/16-18'.

    Raises
    ------
    ReconError
        Where none of this name is listed.
    """
    wanted = re.sub(r"[\s\"]|in$", "", name.strip(), flags=re.IGNORECASE).upper()
    for thread in THREADS:
        if wanted in (thread.name, thread.name.rsplit("-", 1)[0]):
            return thread
    raise ReconError(
        f"'{name.strip()}' is no thread that is listed; known are {', '.join(t.name for t in THREADS)}."
    )


def least_length_mm(grip_mm: float, thread: Thread) -> float:
    """The least length under the head for a grip, mm.

    It takes two washers and a nut at their thickest, and a whole thread past the nut.
    """
    return grip_mm + 2 * thread.washer_max_mm + thread.nut_mm + THREADS_PAST_NUT * thread.pitch_mm


def _listed_lengths_mm(thread: Thread) -> tuple[float, ...]:
    return METRIC_LENGTHS_MM if thread.system == "metric" else INCH_LENGTHS_MM


def bolt_length(grip_mm: float, thread: Thread) -> float:
    """The shortest standard length that is long enough for a grip, mm.

    For a grip that no listed bolt reaches through it is the length of a threaded rod, cut to 10 mm or 1/2 in,
    with a washer and a nut at each end.

    >>> bolt_length(76.2, find_thread("M8")), bolt_length(500, find_thread("M8"))
    (90.0, 520.0)
    """
    lengths = _listed_lengths_mm(thread)
    least = least_length_mm(grip_mm, thread)
    at = bisect_left(lengths, least - 1e-6)
    if at < len(lengths):
        return float(lengths[at])
    step = 10.0 if thread.system == "metric" else MM_PER_IN / 2
    return math.ceil((least + thread.nut_mm + THREADS_PAST_NUT * thread.pitch_mm) / step - 1e-9) * step


def is_rod(thread: Thread, length_mm: float) -> bool:
    """Whether a length is beyond all listed bolts, so that it is cut from threaded rod."""
    return length_mm > _listed_lengths_mm(thread)[-1] + 1e-6


def thread_length_mm(thread: Thread, length_mm: float) -> float:
    """Length of the thread on a bolt of this length, mm; a rod is threaded all along.

    Notes
    -----
    2 d + 6, 12 or 25 mm with lengths to 125, to 200 and above (ISO 4014); 2 d + 1/4 in to 6 in and + 1/2 in
    above (ASME B18.2.1); both from memory.
    """
    if is_rod(thread, length_mm):
        return length_mm
    extra: float
    if thread.system == "metric":
        extra = 6 if length_mm <= 125 else 12 if length_mm <= 200 else 25
    else:
        extra = MM_PER_IN / 4 if length_mm <= 6 * MM_PER_IN + 1e-6 else MM_PER_IN / 2
    return min(2 * thread.d_mm + extra, length_mm)


def bolt_name(thread: Thread, length_mm: float) -> str:
    """A bolt or rod as shops name it: 'M8 x 90', '5/16-18 x 3 1/2 in', 'threaded rod M8 x 520'."""
    rod = "threaded rod " if is_rod(thread, length_mm) else ""
    length = mm_text(length_mm).removesuffix(" mm") if thread.system == "metric" else inch_text(length_mm)
    return f"{rod}{thread.name} x {length}"


_THREAD = r"(M\s*\d+|\d+(?:/\d+)?(?:-\d+)?)"
_LENGTH = r"(\d+(?:\.\d+)?(?:[ -]\d+/\d+)?|\d+/\d+)"
_BOLT = re.compile(
    rf"\s*(?:threaded rod )?{_THREAD}\s*(?:in|\")?\s*[x×*]\s*{_LENGTH}\s*(mm|in|\")?\s*", re.IGNORECASE
)


def parse_bolt(text: str) -> tuple[Thread, float]:
    """Thread and length, mm, of a bolt as people write it.

    Raises
    ------
    ReconError
        Where it is not a bolt, its thread is not listed, or it has no length.

    Examples
    --------
    >>> thread, length_mm = parse_bolt("5/16 x 3-1/2")
    >>> thread.name, length_mm
    ('5/16-18', 88.9)
    """
    match = _BOLT.fullmatch(text)
    if not match:
        raise ReconError(f"'{text.strip()}' is no bolt; write it like 'M8 x 90' or '5/16 x 3 1/2 in'.")
    thread = find_thread(match[1])
    whole, _, part = match[2].replace("-", " ").partition(" ")
    number = sum(_ratio(x) for x in (whole, part) if x)
    if not number:
        raise ReconError(f"'{text.strip()}' has no length; write it like 'M8 x 90' or '5/16 x 3 1/2 in'.")
    inches = (match[3] or ("in" if thread.system == "inch" else "mm")).lower() != "mm"
    return thread, round(number * (MM_PER_IN if inches else 1), 4)


def _ratio(text: str) -> float:
    top, _, bottom = text.partition("/")
    if bottom and not int(bottom):
        raise ReconError(f"'{text}' divides by 0; write a length like 3 1/2.")
    return float(top) / int(bottom or 1)


# Mass, of plain shapes: a cylinder for the shank, hexagonal prisms for head and nut, a ring for the washer.


def bolt_mass_kg(thread: Thread, length_mm: float) -> float:
    """Mass of a bolt, kg, without a head where it is a rod; the thread counts with its full diameter."""
    head = 0.0 if is_rod(thread, length_mm) else _hexagon(thread.flats_mm) * thread.head_mm
    return (_disc(thread.d_mm) * length_mm + head) * STEEL_KG_M3 * 1e-9


def nut_mass_kg(thread: Thread) -> float:
    """Mass of a nut, kg.

    Its bore is taken half-way down the thread (0.61 of the pitch deep, ISO 68-1, from memory).
    """
    area = _hexagon(thread.flats_mm) - _disc(thread.d_mm - 0.61 * thread.pitch_mm)
    return area * thread.nut_mm * STEEL_KG_M3 * 1e-9


def washer_mass_kg(thread: Thread) -> float:
    """Mass of a washer, kg."""
    return (_disc(thread.washer_out_mm) - _disc(thread.washer_in_mm)) * thread.washer_mm * STEEL_KG_M3 * 1e-9


def _disc(d: float) -> float:
    return math.pi / 4 * d**2


def _hexagon(flats: float) -> float:
    return math.sqrt(3) / 2 * flats**2
