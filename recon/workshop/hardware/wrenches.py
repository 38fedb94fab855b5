"""Which wrench goes on a head or nut: in its own system, and in the other only where it fits."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from recon.frame.length import MM_PER_IN, mm_text
from recon.workshop.hardware.fasteners import is_rod, thread_of
from recon.workshop.hardware.threads import Thread

# Sizes of wrenches as they are sold in sets: common practice, no source.
METRIC_MM = (7, 8, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 21, 22, 24, 27, 30, 32, 36, 41)
INCHES = tuple(Fraction(n, 16) for n in (4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 20, 21, 24))
# The widest opening that a wrench for a head of width w may have: 1.005 w + 0.001 in, and a tolerance of
# 0.005 w + 0.004 in (ASME B18.2.2, appendix on wrench openings: from memory; it gives the 1.508 to 1.520 in
# that are quoted for 1 1/2 in at en.wikipedia.org, "Width across flats").
_SHARE, _MORE_MM = 1.01, 0.005 * MM_PER_IN


# What turns a nut, as people call it who use these units: British and American English.
TOOLS = {"metric": "spanner", "inch": "wrench"}


def tools_word(names: Iterable[str]) -> str:
    """What turns bolts and nuts of these names.

    >>> tools_word(["M8 x 90", "M8"]), tools_word(["5/16 x 3 1/2 in"]), tools_word(["M8", "5/16"])
    ('spanner', 'wrench', 'spanner or wrench')
    """
    systems = {"metric" if name.startswith("M") else "inch" for name in names if name}
    return " or ".join(tool for system, tool in TOOLS.items() if system in systems) or TOOLS["metric"]


def fits(wrench_mm: float, flats_mm: float) -> bool:
    """Whether a wrench of this nominal size goes on a hexagon of this greatest width, and does not slip.

    >>> fits(12.7, 13), fits(19.05, 19), fits(16, 15.875), fits(13, 12.7)
    (False, True, True, False)
    """
    return flats_mm - 1e-6 <= wrench_mm <= _SHARE * flats_mm + _MORE_MM


def wrench_words(flats_mm: float, system: str, older_mm: float | None = None) -> str:
    """'spanner 13 mm', 'wrench 5/8 in (16 mm fits, too)', 'spanner 16 mm (17 mm on older ones, DIN 931 ...)'.

    Parameters
    ----------
    flats_mm : float
        Width across flats.
    system : "metric" or "inch"
        Of the bolt.
    older_mm : float, optional
        Width across flats of the older standard.
    """
    if system == "metric":
        size = mm_text(flats_mm)
        others = [f"{_inches(w)} in" for w in INCHES if fits(float(w) * MM_PER_IN, flats_mm)]
    else:
        size = f"{_inches(Fraction(round(flats_mm / MM_PER_IN * 16), 16))} in"
        others = [f"{w} mm" for w in METRIC_MM if fits(w, flats_mm)]
    notes = [f"{other} fits, too" for other in others[:1]]
    notes += [f"{mm_text(older_mm)} on older ones, DIN 931 and 934"] if older_mm else []
    return f"{TOOLS[system]} {size}" + (f" ({'; '.join(notes)})" if notes else "")


def _inches(size: Fraction) -> str:
    whole, part = divmod(size, 1)
    return " ".join(str(x) for x in (whole, part) if x)


def head_wrench(thread: Thread, length_mm: float) -> str:
    """The wrench for the head of a bolt; that for its nuts where it is a rod."""
    if is_rod(thread, length_mm):
        return nut_wrench(thread.name)
    return wrench_words(thread.head_flats_mm, thread.system, thread.older_flats_mm)


def nut_wrench(name: str) -> str:
    """The wrench for a nut by its name: 'M8', '5/16-18 lock'."""
    thread = thread_of(name)
    # Lock nuts of 7/16 have the flats of the head: 0.627 in at most, ASME B18.16.6 as quoted at boltport.com.
    lock_of_head = name.endswith(" lock") and thread.system == "inch" and thread.name.startswith("7/16")
    flats = thread.head_flats_mm if lock_of_head else thread.nut_flats_mm
    return wrench_words(flats, thread.system, thread.older_flats_mm)
