"""Section, volume and weight of a drilled member."""

from __future__ import annotations

import math

from recon.frame.stock import Stock

# Corner radii of cold-formed steel tube for sectional properties, as multiples of the wall: EN 10219-2, for
# walls of 6 mm and less, from memory. Extruded tube is taken to have sharp corners: common practice,
# no source.
COLD_FORMED_OUTSIDE, COLD_FORMED_INSIDE = 2.0, 1.0


def section_area_mm2(stock: Stock) -> float:
    """Area of the undrilled square section, mm^2.

    Notes
    -----
    Solid, sharp-cornered tube, or, for steel, cold-formed tube with its rounded corners (EN 10219-2:
    A = 2 T (B + H - 2 T) - (4 - pi)(R_o^2 - R_i^2), from memory).
    """
    width, wall = stock.width_mm, stock.wall_mm
    if not wall:
        return width**2
    area = 4 * wall * (width - wall)
    if stock.material == "steel":
        outside = min(COLD_FORMED_OUTSIDE * wall, width / 2)
        inside = min(COLD_FORMED_INSIDE * wall, width / 2 - wall)
        area -= (4 - math.pi) * (outside**2 - inside**2)
    return area


def hole_volume_mm3(stock: Stock) -> float:
    """What one hole takes out of a member, mm^3.

    Notes
    -----
    A hole is drilled through from two neighbouring faces: two bores that cross at right angles. In solid
    stock their union is 2 pi r^2 w less their common part, the bicylinder or Steinmetz solid, 16 r^3 / 3
    (E. Weisstein, "Steinmetz Solid", MathWorld). In a tube what lies in the cavity is not there to be
    drilled; where the bore is narrower than the cavity four wall holes of pi r^2 t are left. The rounded
    corners of steel tube play no part here: the bores do not reach them.
    """
    r = stock.hole_mm / 2
    removed = _two_bores(r, stock.width_mm / 2)
    return removed - _two_bores(r, stock.width_mm / 2 - stock.wall_mm) if stock.wall_mm else removed


def _two_bores(r: float, c: float) -> float:
    """Volume of two crossing bores of radius `r` within a long square bar of half width `c`."""
    h = min(r, c)
    one = 2 * c * 2 * (h * math.sqrt(r**2 - h**2) + r**2 * math.asin(h / r))
    # |x|, |y| <= h and z^2 <= r^2 - max(x^2, y^2), integrated over the larger of |x| and |y|.
    both = 16 / 3 * (r**3 - (r**2 - h**2) ** 1.5)
    return 2 * one - both


def member_mass_kg(stock: Stock, holes: int, pitch_mm: float | None = None) -> float:
    """Mass of a member, kg.

    Parameters
    ----------
    stock : Stock
        What it is cut from.
    holes : int
        Its length in holes.
    pitch_mm : float, optional
        From hole to hole; the stock's own by default.

    Examples
    --------
    >>> from recon.frame.stock import load_stocks
    >>> round(member_mass_kg(load_stocks()["softwood-38"], 12), 2)
    0.33
    """
    length = holes * (stock.pitch_mm if pitch_mm is None else pitch_mm)
    return (section_area_mm2(stock) * length - holes * hole_volume_mm3(stock)) * stock.density_kg_m3 * 1e-9
