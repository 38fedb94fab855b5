"""The bolt for a hole and a grip, how it is named and read, and what bolts, nuts and washers weigh.

The sizes stand in `recon.workshop.hardware.threads`.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left

from recon.errors import ReconError
from recon.frame.length import MM_PER_IN, inch_text, mm_text
from recon.frame.stock import Stock
from recon.workshop.hardware.threads import INCH, METRIC, Thread, Washer, find_thread

STEEL_KG_M3 = 7850  # carbon steel, EN 1991-1-1 table A.4 gives 77 to 78.5 kN/m^3; from memory
# Whole threads past the nut with nut and washers at their thickest: common practice, no source.
THREADS_PAST_NUT = 1
HALF_UNIT_MM = 0.05  # holes are listed to a tenth of a mm: 11.1 for 7/16 in
INCH_STEP_MM = MM_PER_IN / 8


# Lengths under head.  ISO 4014, those not in brackets: the list of an open library of fasteners
# (FreeCAD_FastenersWB, FsData/iso4014length.csv), and 90, which it leaves out, from memory.
METRIC_LENGTHS_MM = (12, 16, *range(20, 70, 5), 70, 80, 90, *range(100, 160, 10), *range(160, 501, 20))
# ASME B18.2.1 lengths as stocked: by 1/8 in to 1 in, 1/4 in to 4 in, 1/2 in to 8 in, 1 in above: from memory;
# from 1 to 10 in all are in that library's list (asmeb18.2.1.6length.csv), too.  Those
# sold in a size end at its `longest_mm`.
INCH_LENGTHS_MM = tuple(
    n * INCH_STEP_MM for n in (*range(4, 8), *range(8, 32, 2), *range(32, 64, 4), *range(64, 161, 8))
)


def bolt_system(stock: Stock) -> str:
    """The system of bolts for a stock: "inch" where its pitch is a whole number of eighths of an inch."""
    return system_of_pitch(stock.pitch_mm)


def system_of_pitch(pitch_mm: float | None) -> str:
    """The system that a pitch is of, as `bolt_system` has it; metric where it is not known.

    >>> system_of_pitch(38.1), system_of_pitch(40.0), system_of_pitch(None)
    ('inch', 'metric', 'metric')
    """
    eighths = (pitch_mm or 0.0) / INCH_STEP_MM
    return "inch" if pitch_mm and abs(eighths - round(eighths)) < 1e-3 else "metric"


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


ROD = "threaded rod"  # with which the name of one begins
Series = tuple[str, str]  # of the washers at both ends: "plain" or "wide"
PLAIN: Series = ("plain", "plain")


def least_length_mm(grip_mm: float, thread: Thread, washers: Series = PLAIN, lock: bool = False) -> float:
    """The least length under the head for a grip, mm.

    It takes two washers and a nut, and a whole thread past the nut.  Nut and washers count at their thickest,
    wide washers, which lie on wood, at their nominal thickness: wood gives by more than their tolerance.

    Parameters
    ----------
    grip_mm : float
    thread : Thread
    washers : (str, str)
        Series of the washer at each end.
    lock : bool
        Whether the nut has a nylon insert.
    """
    both = sum(thread.wide.thick_mm if s == "wide" else thread.plain.thickest_mm for s in washers)
    nut = thread.lock_nut_mm if lock else thread.nut_mm
    return grip_mm + both + nut + THREADS_PAST_NUT * thread.pitch_mm


def _listed_lengths_mm(thread: Thread) -> list[float]:
    lengths = METRIC_LENGTHS_MM if thread.system == "metric" else INCH_LENGTHS_MM
    return [length for length in lengths if length <= thread.longest_mm + 1e-6]


def bolt_length(grip_mm: float, thread: Thread, washers: Series = PLAIN, lock: bool = False) -> float:
    """The shortest standard length that is long enough for a grip, mm.

    For a grip that no bolt reaches through that is commonly sold it is the length of a threaded rod, cut to
    10 mm or 1/2 in, with a washer and a nut at each end.

    >>> bolt_length(76.2, find_thread("M8")), bolt_length(500, find_thread("M8"))
    (90.0, 520.0)
    """
    lengths = _listed_lengths_mm(thread)
    least = least_length_mm(grip_mm, thread, washers, lock)
    at = bisect_left(lengths, least - 1e-6)
    if at < len(lengths):
        return float(lengths[at])
    step = 10.0 if thread.system == "metric" else MM_PER_IN / 2
    nut = thread.lock_nut_mm if lock else thread.nut_mm
    return math.ceil((least + nut + THREADS_PAST_NUT * thread.pitch_mm) / step - 1e-9) * step


def is_rod(thread: Thread, length_mm: float) -> bool:
    """Whether a length is beyond the bolts that are commonly sold, so that it is cut from threaded rod."""
    return length_mm > thread.longest_mm + 1e-6


def thread_length_mm(thread: Thread, length_mm: float) -> float:
    """Length of the thread on a bolt of this length, mm; a rod is threaded all along.

    Notes
    -----
    2 d + 6, 12 or 25 mm with lengths to 125, to 200 and above (ISO 4014, by the table of its twin AS 1110.1
    at studbolts.com); 2 d + 1/4 in to 6 in and + 1/2 in above (ASME B18.2.1, the table at usefastener.com).
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
    rod = f"{ROD} " if is_rod(thread, length_mm) else ""
    length = mm_text(length_mm).removesuffix(" mm") if thread.system == "metric" else inch_text(length_mm)
    return f"{rod}{thread.name} x {length}"


def nut_name(thread: Thread, lock: bool = False) -> str:
    """'M8', or 'M8 lock' with a nylon insert."""
    return f"{thread.name} lock" if lock else thread.name


def washer_name(thread: Thread, series: str = "plain") -> str:
    """'M8', or 'M8 wide' of the large series for wood."""
    return f"{thread.name} wide" if series == "wide" else thread.name


def parse_small(text: str, item: str) -> str:
    """The name of a nut or washer as people write it: 'm8 wide' -> 'M8 wide'.

    Raises
    ------
    ReconError
        Where its thread is not listed.

    Examples
    --------
    >>> parse_small("5/16 wide", "washer"), parse_small("M8", "nut"), parse_small("m8 LOCK", "nut")
    ('5/16-18 wide', 'M8', 'M8 lock')
    """
    kind = {"washer": "wide", "nut": "lock"}[item]
    words = text.split()
    special = len(words) > 1 and words[-1].lower() == kind
    thread = find_thread(" ".join(words[:-1]) if special else text)
    return f"{thread.name} {kind}" if special else thread.name


def thread_of(name: str) -> Thread:
    """The thread of a bolt, nut or washer by its name in the project's own writing."""
    return (
        parse_bolt(name)[0]
        if " x " in name
        else find_thread(name.removesuffix(" wide").removesuffix(" lock"))
    )


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
    head = 0.0 if is_rod(thread, length_mm) else _hexagon(thread.head_flats_mm) * thread.head_mm
    return (_disc(thread.d_mm) * length_mm + head) * STEEL_KG_M3 * 1e-9


def nut_mass_kg(thread: Thread) -> float:
    """Mass of a nut, kg.

    Its bore is taken half-way down the thread (0.61 of the pitch deep, ISO 68-1, from memory).
    """
    area = _hexagon(thread.nut_flats_mm) - _disc(thread.d_mm - 0.61 * thread.pitch_mm)
    return area * thread.nut_mm * STEEL_KG_M3 * 1e-9


def washer_mass_kg(washer: Washer) -> float:
    """Mass of a washer, kg."""
    return (_disc(washer.outside_mm) - _disc(washer.inside_mm)) * washer.thick_mm * STEEL_KG_M3 * 1e-9


def _disc(d: float) -> float:
    return math.pi / 4 * d**2


def _hexagon(flats: float) -> float:
    return math.sqrt(3) / 2 * flats**2
