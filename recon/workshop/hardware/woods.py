"""Densities of species of wood, air dry, with their sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from recon.errors import ReconError
from recon.frame.stock import Stock
from recon.frame.user_files import suggest

_OREGON = (
    "Oregon State University, table of physical properties (from the Wood Handbook), owic.oregonstate.edu"
)
_EUROPE = "European Wood, species pages, europeanwood.org"
_LB_FT3 = 16.018  # kg/m3 in a pound to the cubic foot
_FROM_MEMORY = "Wood Handbook FPL-GTR-190, table 5-3, specific gravity at 12 %, times 1.12; from memory"


@dataclass(frozen=True)
class Wood:
    """A species.

    Attributes
    ----------
    name : str
    density_kg_m3 : float
        At about 12 % moisture, the water counted.
    source : str
        Where the density comes from.
    """

    name: str
    density_kg_m3: float
    source: str


# The Oregon table gives the air dry weight itself, in kg/m3 or in pounds to the cubic foot.
WOODS = {
    wood.name: wood
    for wood in (
        Wood("douglas-fir", 545, _OREGON),
        Wood("western-larch", 577, _OREGON),
        Wood("western-hemlock", round(31 * _LB_FT3), _OREGON),
        Wood("engelmann-spruce", 432, _OREGON),
        Wood("noble-fir", round(26 * _LB_FT3), _OREGON),
        Wood("grand-fir", round(26 * _LB_FT3), _OREGON),
        Wood("norway-spruce", 441, _EUROPE),
        Wood("scots-pine", 520, _EUROPE),
        Wood("maritime-pine", 550, _EUROPE),
        Wood("southern-pine", round(1120 * 0.51), _FROM_MEMORY),
        Wood("ponderosa-pine", round(1120 * 0.40), _FROM_MEMORY),
        Wood("eastern-white-pine", round(1120 * 0.35), _FROM_MEMORY),
        Wood("western-redcedar", round(1120 * 0.32), _FROM_MEMORY),
        Wood("redwood", round(1120 * 0.40), _FROM_MEMORY),
        Wood("beech", 720, "European beech near 12 % moisture; from memory"),
        Wood("red-oak", round(1120 * 0.63), _FROM_MEMORY),
        Wood("hard-maple", round(1120 * 0.63), _FROM_MEMORY),
    )
}


def with_wood(stocks: Mapping[str, Stock], name: str) -> dict[str, Stock]:
    """The stock list with the density of a species for all stock of wood.

    Parameters
    ----------
    stocks : mapping of str to Stock
    name : str
        In `WOODS`.

    Raises
    ------
    ReconError
        Where the species is not known.

    Examples
    --------
    >>> from recon.frame.stock import load_stocks
    >>> with_wood(load_stocks(), "norway-spruce")["softwood-38"].density_kg_m3
    441
    """
    wood = WOODS.get(name.strip().lower().replace(" ", "-"))
    if wood is None:
        known = suggest(name[:40].lower(), sorted(WOODS), "choose one of")
        raise ReconError(
            f"There is no density of '{name[:40]}' here; {known}. "
            "For other wood, give a stock of your own with its density by --stocks."
        )
    return {
        id: replace(stock, density_kg_m3=wood.density_kg_m3) if stock.wood else stock
        for id, stock in stocks.items()
    }
