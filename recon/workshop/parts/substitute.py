"""Other stock for some members or for all: whether the frame still fits, and what changes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame, StockUse
from recon.frame.stock import Stock, find_stock
from recon.frame.user_files import suggest
from recon.workshop.formats import mass_text, money
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.hardware.bolts import fasten, find_bolts, width_mm
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.parts_model import PartsList
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.shopping import ShoppingList, shopping_for
from recon.workshop.wording import listed

SAME_MM = 0.3  # widths and pitches this near are one size sold in mm and in inches (38 and 38.1 mm)
# Pitches of difference in width over pitch: 24 laps on one another are an eighth of a pitch out.
SAME_RATIO = 0.005


@dataclass(frozen=True)
class Substitution:
    """A frame of other stock.

    Attributes
    ----------
    frame : Frame
        With its new stock.
    before, after : PartsList
    changes : tuple of str
        The differences in sentences.
    """

    frame: Frame
    before: PartsList
    after: PartsList
    changes: tuple[str, ...]


def substitute(
    frame: Frame,
    stocks: Mapping[str, Stock],
    to: str,
    members: Sequence[str] | None = None,
    prices: PriceList | None = None,
    system: str | None = None,
) -> Substitution:
    """The frame with other stock for some members or for all.

    For some members the new stock must have the frame's pitch and the width of what it replaces, else holes
    would not meet or faces not touch. Where all are replaced, it is enough that width and pitch are in the
    same ratio: the frame is then the same in holes and of another size.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    to : str
        Id of the new stock.
    members : sequence of str, optional
        Ids of the members to replace; all where None.
    prices : PriceList, optional
    system : str, optional
        Of bolts: "metric" or "inch"; by the stock where None.

    Raises
    ------
    ReconError
        Where a stock or member is not known, or the frame would no longer fit: in words, with figures.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.frame.stock import load_stocks
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38")
    >>> substitute(Frame((post,), pitch_mm=38.1), load_stocks(), "aluminium-38").changes[0]
    'aluminium-38 instead of softwood-38 for all members.'
    """
    stock = find_stock(dict(stocks), to)
    pitch_mm = known_pitch_mm(frame, "no stock can be compared with it")
    ids = [m.id for m in frame.members]
    unknown = [id for id in members or () if id not in ids]
    if unknown:
        raise ReconError(
            f"There is no member '{unknown[0][:40]}' in the frame; "
            f"{suggest(unknown[0][:40], ids[:12], 'members are')}."
        )
    chosen = set(ids if members is None else members)
    whole = chosen == set(ids)
    if whole and abs(stock.pitch_mm - pitch_mm) > SAME_MM:
        _check_same_ratio(frame, stock)
        new_pitch_mm = stock.pitch_mm
    else:
        _check_same_size(frame, pitch_mm, stocks, stock, chosen)
        new_pitch_mm = pitch_mm
    new = replace(
        frame,
        pitch_mm=new_pitch_mm,
        stock=StockUse(stock.id, "given") if whole else frame.stock,
        members=tuple(replace(m, stock=stock.id) if m.id in chosen else m for m in frame.members),
    )
    before, after = (parts_list(f, stocks, prices, system=system) for f in (frame, new))
    changes = [
        _stock_change(frame, stock, chosen),
        *_size_change(pitch_mm, new_pitch_mm),
        *_weight_change(before, after),
        *_cost_change(*(shopping_for(f, stocks, p, prices) for f, p in ((frame, before), (new, after)))),
        *_bolt_changes(before, after),
        *_hole_note(new, stocks),
    ]
    return Substitution(new, before, after, tuple(changes))


def with_stock(frame: Frame, stock: Stock) -> Frame:
    """The frame with `stock` where the file names none: as its members' stock, and for its pitch.

    Raises
    ------
    ReconError
        Where the file names another stock, or the members' width is not that of this one.
    """
    other = next((m for m in frame.members if m.stock not in (None, stock.id)), None)
    if other:
        raise ReconError(
            f"Member {other.id} is of {other.stock} in the frame file; leave --stock out, or make a frame of "
            "other "
            "stock with 'recon restock'."
        )
    wide = next((m for m in frame.members if abs(m.width - stock.width) > SAME_RATIO), None)
    if wide:
        raise ReconError(
            f"{stock.id} is {_wide(stock.width)} wide, and member {wide.id} is {wide.width:.4g} in the "
            "frame file; "
            "give the stock that it is made of."
        )
    return replace(
        frame,
        members=tuple(replace(m, stock=stock.id) for m in frame.members),
        pitch_mm=frame.pitch_mm or stock.pitch_mm,
        stock=frame.stock or StockUse(stock.id, "given"),
    )


def _wide(width: float) -> str:
    """'1 pitch', '1.5 pitches'."""
    return f"{width:.4g} pitch{'' if width == 1 else 'es'}"


def _check_same_ratio(frame: Frame, stock: Stock) -> None:
    """Raise ReconError where the width of a member, in pitches, is not the stock's."""
    for m in frame.members:
        if abs(m.width - stock.width) > SAME_RATIO:
            raise ReconError(
                f"{stock.id} does not fit: it is {_wide(stock.width)} wide and member {m.id} is "
                f"{m.width:.3g}, so members that cross would not touch at their laps; choose stock that is "
                f"{_wide(m.width)} wide."
            )


def _check_same_size(
    frame: Frame, pitch_mm: float, stocks: Mapping[str, Stock], stock: Stock, chosen: Set[str]
) -> None:
    """Raise ReconError where the stock's pitch is not the frame's, or its width not what it replaces."""
    if abs(stock.pitch_mm - pitch_mm) > SAME_MM:
        raise ReconError(
            f"{stock.id} does not fit: its pitch is {both_text(stock.pitch_mm)} and the frame's is "
            f"{both_text(pitch_mm)}, so its holes would not meet those of the other members; choose stock "
            "with "
            "the frame's pitch, or replace all members."
        )
    for m in frame.members:
        if m.id in chosen and abs(stock.width_mm - width_mm(m, frame, stocks)) > SAME_MM:
            raise ReconError(
                f"{stock.id} does not fit: it is {both_text(stock.width_mm)} wide and member {m.id} is "
                f"{both_text(width_mm(m, frame, stocks))}, so members that cross would not touch at their "
                "laps, or "
                "would be in one another's way; choose stock of the same width."
            )
    _check_drift(frame, pitch_mm, stocks, stock, chosen)


def _check_drift(
    frame: Frame, pitch_mm: float, stocks: Mapping[str, Stock], stock: Stock, chosen: Set[str]
) -> None:
    """Raise ReconError where the holes' play does not take up the difference in pitch.

    Pitches that differ a little add up from the first bolt of a member to its last.
    """
    off = abs(stock.pitch_mm - pitch_mm)
    bolted: dict[str, list[int]] = {}
    play: dict[str, float] = {}
    for bolt in find_bolts(frame):
        fastening = fasten(bolt, frame, stocks)
        for id, hole in bolt.through:
            bolted.setdefault(id, []).append(hole)
            if fastening:
                play[id] = min(play.get(id, 1e9), 2 * (stock.hole_mm - fastening.thread.d_mm))
    for id in sorted(chosen & play.keys()):
        drift = off * (max(bolted[id]) - min(bolted[id]))
        if drift > max(play[id], 0.0):
            raise ReconError(
                f"{stock.id} does not fit: its pitch is {mm_text(off)} off the frame's, which over the bolts "
                "of "
                f"member {id} adds up to {mm_text(drift)}, more than the holes have play; choose stock with "
                "the "
                "frame's pitch."
            )


def _stock_change(frame: Frame, stock: Stock, chosen: Set[str]) -> str:
    replaced = [m for m in frame.members if m.id in chosen]
    old = sorted({m.stock or "stock not known" for m in replaced})
    all_of_them = len(replaced) == len(frame.members)
    what = "all members" if all_of_them else listed(m.id for m in replaced)
    return f"{stock.id} instead of {listed(old)} for {what}."


def _size_change(pitch_mm: float, new_pitch_mm: float) -> Iterator[str]:
    if new_pitch_mm != pitch_mm:
        yield (
            f"The pitch becomes {both_text(new_pitch_mm)} instead of {both_text(pitch_mm)}: the frame stays "
            "the same "
            f"in holes and becomes {abs(new_pitch_mm / pitch_mm - 1):.1%} "
            f"{'larger' if new_pitch_mm > pitch_mm else 'smaller'}."
        )


def _weight_change(before: PartsList, after: PartsList) -> Iterator[str]:
    if before.mass_kg is not None and after.mass_kg is not None:
        yield _difference("Weight with bolts", before.mass_kg, after.mass_kg, mass_text)
    elif after.mass_kg is not None:
        yield f"Weight with bolts: {mass_text(after.mass_kg)}; before, it was not known."


def _cost_change(before: ShoppingList, after: ShoppingList) -> Iterator[str]:
    if before.total is not None and after.total is not None:
        yield _difference("To pay", before.total, after.total, lambda amount: money(amount, after.currency))


def _hole_note(frame: Frame, stocks: Mapping[str, Stock]) -> Iterator[str]:
    """That holes of several diameters meet, where they do."""
    holes = {stock.hole_mm for m in frame.members if (stock := stock_of(m, stocks))}
    if len(holes) > 1:
        yield (
            f"Holes of {listed(mm_text(mm) for mm in sorted(holes))} meet: bolts are chosen by the smaller, "
            "and have "
            "play in the larger."
        )


def _difference(what: str, before: float, after: float, text: Callable[[float], str]) -> str:
    if text(before) == text(after):
        return f"{what}: {text(after)}, as before."
    share = f" ({after / before - 1:+.0%})" if before else ""
    more = "more" if after > before else "less"
    return f"{what}: {text(after)} instead of {text(before)}, {text(abs(after - before))} {more}{share}."


def _bolt_changes(before: PartsList, after: PartsList) -> Iterator[str]:
    old, new = (
        Counter({h.name: h.count for h in parts.hardware if h.kind == "bolt" and h.name})
        for parts in (before, after)
    )
    if old == new:
        yield "Bolts: as before."
        return
    no_more = listed(f"{n} of {name}" for name, n in (old - new).items())
    instead = listed(f"{n} of {name}" for name, n in (new - old).items())
    if instead:
        yield f"Bolts: {instead} instead of {no_more or 'bolts not known'}."
    else:
        yield f"Bolts: no longer {no_more}."
