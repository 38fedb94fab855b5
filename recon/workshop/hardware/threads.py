"""Sizes of hexagon bolts with their nuts and washers: tables of the standards.

Each table says where its values come from: tables that quote the standards, which the tests repeat line by
line.  Values marked "from memory" were recalled without the standard.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.length import MM_PER_IN


@dataclass(frozen=True)
class Washer:
    """A plain washer.

    Attributes
    ----------
    inside_mm, outside_mm : float
        Its diameters.
    thick_mm, thickest_mm : float
        Nominal thickness, and the greatest.
    """

    inside_mm: float
    outside_mm: float
    thick_mm: float
    thickest_mm: float


@dataclass(frozen=True)
class Thread:
    """One size of hexagon bolt with its nuts and washers.

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
    nut_mm, lock_nut_mm : float
        Greatest height of the plain nut, and of one with a nylon insert.
    nut_flats_mm, head_flats_mm : float
        Across the flats of nut and head: the wrench.
    head_mm : float
        Height of the head.
    plain, wide : Washer
        For metal, and the large series for wood.
    longest_mm : float
        The longest bolt that is commonly sold.
    older_flats_mm : float or None
        Across the flats of head and nut of the older standard, where those differ and are still sold.
    """

    name: str
    system: str
    d_mm: float
    pitch_mm: float
    clearance_mm: tuple[float, float, float]
    nut_mm: float
    lock_nut_mm: float
    nut_flats_mm: float
    head_flats_mm: float
    head_mm: float
    plain: Washer
    wide: Washer
    longest_mm: float
    older_flats_mm: float | None = None

    def washer(self, series: str) -> Washer:
        """The washer of a series, "plain" or "wide"."""
        return self.wide if series == "wide" else self.plain


# Coarse thread pitch, head height k and width across flats: ISO 4014 and ISO 4017 as quoted at
# engineeringhardware.com.  Clearance holes: ISO 273 (fine, medium, coarse), quoted there.  Nut height m max
# and width across flats s max: ISO 4032 as quoted at engineersedge.com (BS EN ISO 4032:2001, table 1).
# Washer: ISO 7089, d1, d2 and h as quoted at engineeringhardware.com, h max by the tables of an open library
# of fasteners (FreeCAD_FastenersWB, FsData/iso7089def.csv).
_METRIC = (
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
# Washers of the large series ISO 7093-1 (d1, d2, h, h max), and greatest height h of prevailing torque nuts
# with nylon insert ISO 7040: the same library, iso7093def.csv and iso7040def.csv.  Other tables have 1.2 mm
# for M5 and holes of 22 and 26 mm for M20 and M24, which are those of the older DIN 9021.
_METRIC_WIDE = {
    4: (4.3, 12, 1.0, 1.1),
    5: (5.3, 15, 1.0, 1.1),
    6: (6.4, 18, 1.6, 1.8),
    8: (8.4, 24, 2.0, 2.2),
    10: (10.5, 30, 2.5, 2.7),
    12: (13.0, 37, 3.0, 3.3),
    16: (17.0, 50, 3.0, 3.3),
    20: (21.0, 60, 4.0, 4.3),
    24: (25.0, 72, 5.0, 5.6),
}
_METRIC_LOCK = {4: 6.0, 5: 6.8, 6: 8.0, 8: 9.5, 10: 11.9, 12: 14.9, 16: 19.1, 20: 22.8, 24: 27.1}
# The longest of DIN 931 that general suppliers keep: from memory.
_METRIC_LONGEST = {4: 50, 5: 80, 6: 100, 8: 150, 10: 200, 12: 240, 16: 300, 20: 300, 24: 300}
# Across flats of DIN 931 and DIN 934 where ISO has other sizes: a maker's sheet of ISO 4014, footnote
# (scribd.com 367243871), and creativefasteners.co.in, DIN 933.
_METRIC_OLDER = {10: 17.0, 12: 19.0}

METRIC = tuple(
    Thread(
        f"M{d}",
        "metric",
        d,
        pitch,
        clearance,
        nut,
        _METRIC_LOCK[d],
        flats,
        flats,
        head,
        Washer(*plain),
        Washer(*_METRIC_WIDE[d]),
        _METRIC_LONGEST[d],
        _METRIC_OLDER.get(d),
    )
    for d, pitch, clearance, nut, flats, head, plain in _METRIC
)

# Inches.  Threads to the inch UNC, ASME B1.1: from memory.  Clearance holes ASME B18.2.8 (close, normal,
# loose) as quoted at jandesupply.com; loose ones and normal ones to 7/16 also Machinery's Handbook, 31st
# edition, p. 1741.  Hex nut, greatest thickness and width across flats: ASME B18.2.2 as quoted at
# fastenrsc.com.  Hex cap screw, width across flats and greatest head height: ASME B18.2.1 as quoted at
# usefastener.com and atlrod.com.
_INCH = (
    ("1/4", 20, 0.25, (17 / 64, 9 / 32, 19 / 64), 0.226, 7 / 16, 7 / 16, 0.163),
    ("5/16", 18, 0.3125, (21 / 64, 11 / 32, 23 / 64), 0.273, 1 / 2, 1 / 2, 0.211),
    ("3/8", 16, 0.375, (25 / 64, 13 / 32, 27 / 64), 0.337, 9 / 16, 9 / 16, 0.243),
    ("7/16", 14, 0.4375, (29 / 64, 15 / 32, 31 / 64), 0.385, 11 / 16, 5 / 8, 0.291),
    ("1/2", 13, 0.5, (17 / 32, 9 / 16, 39 / 64), 0.448, 3 / 4, 3 / 4, 0.323),
    ("5/8", 11, 0.625, (21 / 32, 11 / 16, 47 / 64), 0.559, 15 / 16, 15 / 16, 0.403),
    ("3/4", 10, 0.75, (25 / 32, 13 / 16, 29 / 32), 0.665, 9 / 8, 9 / 8, 0.483),
    ("7/8", 9, 0.875, (29 / 32, 15 / 16, 33 / 32), 0.776, 21 / 16, 21 / 16, 0.563),
    ("1", 8, 1.0, (33 / 32, 35 / 32, 37 / 32), 0.887, 3 / 2, 3 / 2, 0.627),
)
# Plain washers type A, ASME B18.21.1-2009 (inside, outside, thickness, greatest): narrow and wide series,
# Machinery's Handbook, 31st edition, p. 1694 and 1695.
_INCH_NARROW = {
    "1/4": (0.281, 0.625, 0.065, 0.080),
    "5/16": (0.344, 0.688, 0.065, 0.080),
    "3/8": (0.406, 0.812, 0.065, 0.080),
    "7/16": (0.469, 0.922, 0.065, 0.080),
    "1/2": (0.531, 1.062, 0.095, 0.121),
    "5/8": (0.656, 1.312, 0.095, 0.121),
    "3/4": (0.812, 1.469, 0.134, 0.160),
    "7/8": (0.938, 1.750, 0.134, 0.160),
    "1": (1.062, 2.000, 0.134, 0.160),
}
_INCH_WIDE = {
    "1/4": (0.312, 0.734, 0.065, 0.080),
    "5/16": (0.375, 0.875, 0.083, 0.104),
    "3/8": (0.438, 1.000, 0.083, 0.104),
    "7/16": (0.500, 1.250, 0.083, 0.104),
    "1/2": (0.562, 1.375, 0.109, 0.132),
    "5/8": (0.688, 1.750, 0.134, 0.160),
    "3/4": (0.812, 2.000, 0.148, 0.177),
    "7/8": (0.938, 2.250, 0.165, 0.192),
    "1": (1.062, 2.500, 0.165, 0.192),
}
# Greatest height of nylon insert nuts NE, ASME B18.16.6 as quoted at boltport.com.
_INCH_LOCK = {
    "1/4": 0.328,
    "5/16": 0.359,
    "3/8": 0.468,
    "7/16": 0.468,
    "1/2": 0.609,
    "5/8": 0.765,
    "3/4": 0.890,
    "7/8": 0.999,
    "1": 1.078,
}
# Partly threaded cap screws of 1/4 to 2 in are listed to this length: a dealer's table of standard thread
# lengths (bolt.pearland411.com).
_INCH_LONGEST = 6.0


def _in(row: tuple[float, float, float, float]) -> Washer:
    inside, outside, thick, thickest = (x * MM_PER_IN for x in row)
    return Washer(inside, outside, thick, thickest)


def _fits(row: tuple[float, float, float]) -> tuple[float, float, float]:
    close, normal, loose = (x * MM_PER_IN for x in row)
    return close, normal, loose


INCH = tuple(
    Thread(
        f"{name}-{per_inch}",
        "inch",
        d * MM_PER_IN,
        1 / per_inch * MM_PER_IN,
        _fits(clearance),
        nut * MM_PER_IN,
        _INCH_LOCK[name] * MM_PER_IN,
        nut_flats * MM_PER_IN,
        head_flats * MM_PER_IN,
        head * MM_PER_IN,
        _in(_INCH_NARROW[name]),
        _in(_INCH_WIDE[name]),
        _INCH_LONGEST * MM_PER_IN,
    )
    for name, per_inch, d, clearance, nut, nut_flats, head_flats, head in _INCH
)
THREADS = METRIC + INCH


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
