"""The stock list, and which stock the ratios seen in photos point at."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Collection
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path

from recon.errors import ReconError
from recon.frame.user_files import Place, check, read_text, suggest

NOT_LISTED = 0.05  # prior that a frame is made of stock that is not in the list: this project's choice
NOT_LISTED_DENSITY = 1 / (0.5 * 2.5)  # such stock: hole 0.1 to 0.6 and width 0.7 to 3.2 pitches, evenly
HINT_RIGHT = 0.9  # how often a material guessed from a photo is taken to be right: likewise
PREFERRED = 0.98  # prior that a frame is of the stock that its builder lists or calls usual: likewise
SAME_RATIO = 0.01  # pitches; ratios nearer than this are one to any photo (0.4 mm at 38.1 mm)

_METALS = ("aluminium", "steel")
_WOODS = ("softwood", "hardwood")

SCHEMA = {
    "type": "object",
    "additionalProperties": False,
    "description": "a stock list has one [[stock]] table an entry",
    "required": ["stock"],
    "properties": {
        "stock": {
            "type": "array",
            "description": "a stock list has one [[stock]] table an entry",
            "items": {
                "type": "object",
                "description": "an entry is a [[stock]] table",
                "additionalProperties": False,
                "required": ["id", "material", "pitch_mm", "width_mm", "hole_mm", "density_kg_m3", "source"],
                "properties": {
                    "id": {
                        "type": "string",
                        "pattern": r"^[\w][\w.+-]{0,39}$(?!\n)",
                        "description": "an entry has a short name of letters, digits, '.', '+' and '-'",
                    },
                    "name": {"type": "string", "maxLength": 200, "description": "it must be text in quotes"},
                    "material": {
                        "type": "string",
                        "minLength": 1,
                        "maxLength": 40,
                        "description": 'it must be a word in quotes, such as "steel"',
                    },
                    "pitch_mm": {
                        "type": "number",
                        "minimum": 1,
                        "maximum": 1000,
                        "description": "from hole to hole it must be 1 to 1000 mm",
                    },
                    "width_mm": {
                        "type": "number",
                        "minimum": 1,
                        "maximum": 1000,
                        "description": "the section must be 1 to 1000 mm wide",
                    },
                    "hole_mm": {
                        "type": "number",
                        "exclusiveMinimum": 0,
                        "maximum": 1000,
                        "description": "the hole's diameter must be more than 0 mm",
                    },
                    "wall_mm": {
                        "type": "number",
                        "minimum": 0,
                        "maximum": 500,
                        "description": "the wall must be 0 (solid) or thicker, in mm",
                    },
                    "density_kg_m3": {
                        "type": "number",
                        "minimum": 1,
                        "maximum": 30000,
                        "description": "it must be 1 to 30000 kg to the cubic metre",
                    },
                    "lengths_mm": {
                        "type": "array",
                        "description": "it must be a list of lengths in mm",
                        "items": {
                            "type": "number",
                            "exclusiveMinimum": 0,
                            "maximum": 1e6,
                            "description": "a length must be more than 0 mm",
                        },
                    },
                    "prior": {
                        "type": "number",
                        "exclusiveMinimum": 0,
                        "maximum": 1e6,
                        "description": "it must be above 0; 1 is usual",
                    },
                    "source": {
                        "type": "string",
                        "minLength": 1,
                        "description": "an entry says where its sizes come from, "
                        'or "common practice, no source"',
                    },
                },
            },
        }
    },
}


@dataclass(frozen=True)
class Stock:
    """One entry of the stock list.

    Attributes
    ----------
    id, name, material : str
    pitch_mm : float
        Mm from hole to hole.
    width_mm : float
        Of the square section, mm.
    hole_mm : float
        Diameter of a hole, mm.
    wall_mm : float
        Mm; 0 where the section is solid.
    density_kg_m3 : float
        Of the material.
    lengths_mm : tuple of float
        Those that it is sold in, mm.
    source : str
        Where the sizes come from.
    prior : float
        How likely it is before anything is seen, against 1 for other entries.
    """

    id: str
    name: str
    material: str
    pitch_mm: float
    width_mm: float
    hole_mm: float
    wall_mm: float
    density_kg_m3: float
    lengths_mm: tuple[float, ...]
    source: str
    prior: float = 1.0

    @property
    def width(self) -> float:
        """Width of the section in pitches."""
        return round(self.width_mm / self.pitch_mm, 9)  # 38.1 / 25.4 is 1.5, not the float above it

    @property
    def wood(self) -> bool:
        """Whether it is wood."""
        return self.material in _WOODS

    @property
    def hole(self) -> float:
        """Diameter of a hole in pitches."""
        return self.hole_mm / self.pitch_mm


def load_stocks(extra_path: str | Path | None = None) -> dict[str, Stock]:
    """The stock list by id: the entries that come with the project, then those of the user's TOML file.

    Parameters
    ----------
    extra_path : str or Path, optional
        A file in the form of `stocks.toml`; its entries replace those of the same id and are preferred.

    Raises
    ------
    ReconError
        Where the file is missing, broken or holds nonsense.

    Examples
    --------
    >>> load_stocks()["steel-38"].pitch_mm
    38.1
    """
    shipped = resources.files("recon.frame").joinpath("stocks.toml").read_text(encoding="utf-8")
    stocks = _parse(shipped, "stocks.toml")
    if extra_path is not None:
        own = _parse(read_text(extra_path, "stock list"), str(extra_path))
        stocks = preferred(stocks | own, own)
    return stocks


def preferred(stocks: dict[str, Stock], ids: Collection[str]) -> dict[str, Stock]:
    """The stock list with the priors of some entries raised: they settle what photos cannot.

    Together the entries `ids` get 0.98 of the prior, in the proportions that they had.

    Examples
    --------
    >>> stocks = preferred(load_stocks(), ["softwood-40"])
    >>> round(stocks["softwood-40"].prior / sum(s.prior for s in stocks.values()), 2)
    0.98
    """
    raised = sum(stocks[id].prior for id in ids)
    others = sum(s.prior for s in stocks.values()) - raised
    if not raised or not others:
        return stocks
    factor = PREFERRED / (1 - PREFERRED) * others / raised
    return {id: replace(s, prior=s.prior * factor) if id in ids else s for id, s in stocks.items()}


def find_stock(stocks: dict[str, Stock], id: str) -> Stock:
    """The entry called `id`.  Raises ReconError, with the nearest names, where there is none."""
    if id not in stocks:
        raise ReconError(
            f"stock '{id}' is not in the stock list; {suggest(id, stocks, 'known are')}. "
            "Add others with a stock list of your own."
        )
    return stocks[id]


def _parse(text: str, where: str) -> dict[str, Stock]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ReconError(
            f"{where}: not TOML ({str(error)[:1].lower() + str(error)[1:]}); mend it there."
        ) from error
    except (RecursionError, ValueError) as error:
        raise ReconError(f"{where}: a value is too deep or too long to read; write it anew.") from error
    lines = [i for i, line in enumerate(text.splitlines(), 1) if re.match(r"\s*\[\[\s*stock\s*\]\]", line)]

    def place(path: Place) -> str:
        if len(path) < 2:
            return ""
        number = int(path[1])
        entry = data["stock"][number]
        name = f" '{entry['id']}'" if isinstance(entry, dict) and isinstance(entry.get("id"), str) else ""
        line = f" (line {lines[number]})" if number < len(lines) else ""
        return f"entry {number + 1}{name}{line}"

    check(data, SCHEMA, where, place)
    stocks: dict[str, Stock] = {}
    for i, entry in enumerate(data["stock"]):
        stock = Stock(
            **{"name": entry["id"], "wall_mm": 0.0, **entry, "lengths_mm": tuple(entry.get("lengths_mm", ()))}
        )
        problem = _impossible(stock)
        if stock.id in stocks:
            problem = "an entry before it has the same id; give it another."
        if problem:
            raise ReconError(f"{where}: {place(('stock', i))}: {problem}")
        stocks[stock.id] = stock
    return stocks


def _impossible(stock: Stock) -> str:
    if stock.hole_mm >= min(stock.pitch_mm, stock.width_mm):
        return f"'hole_mm' is {stock.hole_mm:g}; a hole must be smaller than pitch and width."
    if 2 * stock.wall_mm >= stock.width_mm:
        return f"'wall_mm' is {stock.wall_mm:g}; two walls must be less than the width (0: solid)."
    return ""


# Recognition


def recognise(
    hole_over_pitch: float,
    sigma_hp: float,
    width_over_pitch: float,
    sigma_wp: float,
    stocks: dict[str, Stock],
    material_hint: str | None = None,
) -> list[tuple[Stock, float]]:
    """Which stock the two measured ratios point at: (entry, posterior probability), most likely first.

    Parameters
    ----------
    hole_over_pitch, sigma_hp : float
        Diameter of the holes in pitches, and its standard deviation.
    width_over_pitch, sigma_wp : float
        Width of the section in pitches, and its standard deviation.
    stocks : dict
        The stock list.
    material_hint : str, optional
        "wood", "metal" or an entry's own material.

    Notes
    -----
    Bayes' rule: normal likelihoods of the two ratios with their standard deviations, the entries' `prior`, a
    twentieth of it kept for stock that is not in the list (evenly spread ratios), and for a hint 9 : 1 for
    entries of that material.  What the probabilities lack to 1 is the chance that the stock is not in the
    list.

    Photos show ratios, not sizes: entries with the same ratios keep their prior odds.  `ambiguities` groups
    them.

    Examples
    --------
    >>> stocks = load_stocks()
    >>> ranked = recognise(0.29, 0.02, 1.0, 0.03, stocks)
    >>> ranked[0][0].width, 0 < ranked[0][1] < 1
    (1.0, True)
    """
    for name, value in (
        ("hole_over_pitch", hole_over_pitch),
        ("sigma_hp", sigma_hp),
        ("width_over_pitch", width_over_pitch),
        ("sigma_wp", sigma_wp),
    ):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value}; it must be finite and above 0")
    total = sum(s.prior for s in stocks.values())
    weights = {}
    for stock in stocks.values():
        prior = (1 - NOT_LISTED) * stock.prior / total
        if material_hint is not None:
            prior *= HINT_RIGHT if _is_of(stock.material, material_hint) else 1 - HINT_RIGHT
        weights[stock.id] = (
            prior
            * _normal(hole_over_pitch - stock.hole, sigma_hp)
            * _normal(width_over_pitch - stock.width, sigma_wp)
        )
    unlisted = NOT_LISTED * NOT_LISTED_DENSITY * (1 if material_hint is None else 0.5)
    evidence = unlisted + sum(weights.values())
    ranked = [(stocks[id], weight / evidence) for id, weight in weights.items()]
    return sorted(ranked, key=lambda r: -r[1])


def _normal(x: float, sigma: float) -> float:
    return math.exp(-0.5 * (x / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))


def _is_of(material: str, hint: str) -> bool:
    return material in {"wood": _WOODS, "metal": _METALS}.get(hint, (hint,))


def ambiguities(ranked: list[tuple[Stock, float]]) -> list[tuple[tuple[Stock, ...], float]]:
    """The ranked entries in groups of the same two ratios.

    Each is (entries, most likely first; their probability together).  Within a group no photo decides: its
    entries may differ in pitch, and so in every length, or in wall alone.
    """
    groups: list[list[tuple[Stock, float]]] = []
    for stock, p in ranked:
        for group in groups:
            if (
                abs(group[0][0].hole - stock.hole) < SAME_RATIO
                and abs(group[0][0].width - stock.width) < SAME_RATIO
            ):
                group.append((stock, p))
                break
        else:
            groups.append([(stock, p)])
    summed = [(tuple(s for s, _ in group), sum(p for _, p in group)) for group in groups]
    return sorted(summed, key=lambda g: -g[1])


def explain(ranked: list[tuple[Stock, float]]) -> str:
    """One or two sentences: the stock that was recognised, how sure, and what the photos cannot show."""
    if not ranked:
        return "The stock list is empty."
    best, p = ranked[0]
    unlisted = 1 - sum(q for _, q in ranked)
    if unlisted > p:
        return "No stock in the list has these ratios; give the stock, or one length that you have measured."
    text = f"Stock: {best.name} ({min(p, 0.99):.0%} sure)."
    alike = next(group for group, _ in ambiguities(ranked) if best in group)
    pitches = sorted({s.pitch_mm for s in alike})
    if len(pitches) > 1:
        text += (
            f" By their ratios pitches of {' and '.join(f'{x:g}' for x in pitches)} mm look the same;"
            " one measured length tells."
        )
    elif len(alike) > 1:
        text += f" The ratios do not tell it from: {'; '.join(s.name for s in alike if s != best)}."
    return text
