"""Other stock for some members or for all: whether the frame still fits, and what changes in weight, cost and bolts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame, StockUse
from recon.frame.stock import Stock, find_stock
from recon.frame.user_files import suggest
from recon.workshop.hardware.bolts import fasten, find_bolts, width_mm
from recon.workshop.parts.parts_list import PartsList, parts_list
from recon.workshop.parts.prices import PriceList
from recon.workshop.sheet import mass_text, money
from recon.workshop.wording import listed

SAME_MM = 0.3  # widths and pitches this near are one size sold in mm and in inches (38 and 38.1 mm)
SAME_RATIO = (
    0.005  # pitches of difference in width over pitch: 24 laps on one another are an eighth of a pitch out
)


@dataclass(frozen=True)
class Substitution:
    """The frame with its new stock, the parts before and after, and the differences in sentences."""

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
    """The frame with stock `to` for `members` (ids; all where None).

    For some members the new stock must have the frame's pitch and the width of what it replaces, else holes would not
    meet or faces not touch. Where all are replaced, it is enough that width and pitch are in the same ratio: the frame
    is then the same in holes and of another size.

    Raises ReconError where a stock or member is not known, or the frame would no longer fit: in words, with figures.
    """
    stock = find_stock(dict(stocks), to)
    if not frame.pitch_mm:
        raise ReconError(
            "The frame's pitch is not known, so no stock can be compared with it; give its stock, or one measured length."
        )
    ids = [m.id for m in frame.members]
    unknown = [id for id in members or () if id not in ids]
    if unknown:
        raise ReconError(
            f"There is no member '{unknown[0][:40]}' in the frame; {suggest(unknown[0][:40], ids[:12], 'members are')}."
        )
    chosen = set(ids if members is None else members)
    whole = chosen == set(ids)
    pitch_mm = frame.pitch_mm
    if whole and abs(stock.pitch_mm - pitch_mm) > SAME_MM:
        pitch_mm = _other_size(frame, stock)
    else:
        _check_same_size(frame, stocks, stock, chosen)
    new = replace(
        frame,
        pitch_mm=pitch_mm,
        stock=StockUse(stock.id, "given") if whole else frame.stock,
        members=tuple(replace(m, stock=stock.id) if m.id in chosen else m for m in frame.members),
    )
    before, after = (parts_list(f, stocks, prices, system=system) for f in (frame, new))
    return Substitution(
        new, before, after, tuple(_changes(frame, new, before, after, stocks, stock, chosen, pitch_mm))
    )


def with_stock(frame: Frame, stock: Stock) -> Frame:
    """The frame with `stock` where the file tells of none: its members' stock, and the pitch that gives it millimetres.

    Raises ReconError where the file names another stock, or the members' width is not that of this one.
    """
    other = next((m for m in frame.members if m.stock not in (None, stock.id)), None)
    if other:
        raise ReconError(
            f"Member {other.id} is of {other.stock} in the frame file; leave --stock out, or make a frame of other "
            "stock with 'recon swap'."
        )
    wide = next((m for m in frame.members if abs(m.width - stock.width) > SAME_RATIO), None)
    if wide:
        raise ReconError(
            f"{stock.id} is {stock.width:.4g} pitches wide, and member {wide.id} is {wide.width:.4g} in the frame file; "
            "give the stock that it is made of."
        )
    return replace(
        frame,
        members=tuple(replace(m, stock=stock.id) for m in frame.members),
        pitch_mm=frame.pitch_mm or stock.pitch_mm,
        stock=frame.stock or StockUse(stock.id, "given"),
    )


def _other_size(frame: Frame, stock: Stock) -> float:
    """The new pitch where every member is replaced.  Raises ReconError where the widths are not in the same ratio."""
    for m in frame.members:
        if abs(m.width - stock.width) > SAME_RATIO:
            raise ReconError(
                f"{stock.id} does not fit: it is {stock.width:.3g} pitches wide and member {m.id} is {m.width:.3g}, so members that "
                f"cross would not touch at their laps; choose stock that is {m.width:.3g} pitches wide."
            )
    return stock.pitch_mm


def _check_same_size(frame: Frame, stocks, stock: Stock, chosen):
    if abs(stock.pitch_mm - frame.pitch_mm) > SAME_MM:
        raise ReconError(
            f"{stock.id} does not fit: its pitch is {both_text(stock.pitch_mm)} and the frame's is "
            f"{both_text(frame.pitch_mm)}, so its holes would not meet those of the other members; choose stock with "
            "the frame's pitch, or replace all members."
        )
    for m in frame.members:
        if m.id in chosen and abs(stock.width_mm - width_mm(m, frame, stocks)) > SAME_MM:
            raise ReconError(
                f"{stock.id} does not fit: it is {both_text(stock.width_mm)} wide and member {m.id} is "
                f"{both_text(width_mm(m, frame, stocks))}, so members that cross would not touch at their laps, or "
                "would be in one another's way; choose stock of the same width."
            )
    _check_drift(frame, stocks, stock, chosen)


def _check_drift(frame: Frame, stocks, stock: Stock, chosen):
    """Pitches that differ a little add up from the first bolt of a member to its last; the holes' play must take it."""
    off = abs(stock.pitch_mm - frame.pitch_mm)
    held: dict[str, list[int]] = {}
    play: dict[str, float] = {}
    for bolt in find_bolts(frame):
        fastening = fasten(bolt, frame, stocks)
        for id, hole in bolt.through:
            held.setdefault(id, []).append(hole)
            if fastening:
                play[id] = min(play.get(id, 1e9), 2 * (stock.hole_mm - fastening.thread.d_mm))
    for id in sorted(chosen & play.keys()):
        drift = off * (max(held[id]) - min(held[id]))
        if drift > max(play[id], 0.0):
            raise ReconError(
                f"{stock.id} does not fit: its pitch is {mm_text(off)} off the frame's, which over the bolts of member "
                f"{id} adds up to {mm_text(drift)}, more than the holes have play; choose stock with the frame's pitch."
            )


def _changes(frame, new, before: PartsList, after: PartsList, stocks, stock: Stock, chosen, pitch_mm):
    old = sorted({m.stock or "stock not known" for m in frame.members if m.id in chosen})
    labels = [m.id for m in frame.members if m.id in chosen]
    yield f"{stock.id} instead of {listed(old)} for {'all members' if len(labels) == len(frame.members) else listed(labels)}."
    if pitch_mm != frame.pitch_mm:
        yield (
            f"The pitch becomes {both_text(pitch_mm)} instead of {both_text(frame.pitch_mm)}: the frame stays the same in holes "
            f"and becomes {abs(pitch_mm / frame.pitch_mm - 1):.1%} {'larger' if pitch_mm > frame.pitch_mm else 'smaller'}."
        )
    if before.mass_kg is not None and after.mass_kg is not None:
        yield _difference("Weight with bolts", before.mass_kg, after.mass_kg, mass_text)
    elif after.mass_kg is not None:
        yield f"Weight with bolts: {mass_text(after.mass_kg)}; before, it was not known."
    if before.cost is not None and after.cost is not None:
        yield _difference("Cost", before.cost, after.cost, lambda amount: money(amount, after.currency))
    yield from _bolt_changes(before, after)
    holes = {stocks[m.stock].hole_mm for m in new.members if m.stock in stocks}
    if len(holes) > 1:
        yield (
            f"Holes of {listed(mm_text(mm) for mm in sorted(holes))} meet: bolts are chosen by the smaller, and have play in the "
            "larger."
        )


def _difference(what: str, before: float, after: float, text) -> str:
    if text(before) == text(after):
        return f"{what}: {text(after)}, as before."
    share = f" ({after / before - 1:+.0%})" if before else ""
    return f"{what}: {text(after)} instead of {text(before)}, {text(abs(after - before))} {'more' if after > before else 'less'}{share}."


def _bolt_changes(before: PartsList, after: PartsList):
    old, new = (
        Counter({(h.kind, h.name): h.count for h in parts.hardware if h.kind == "bolt" and h.name})
        for parts in (before, after)
    )
    if old == new:
        yield "Bolts: as before."
        return
    gone, come = old - new, new - old
    words = [f"{n} of {name}" for (_, name), n in come.items()]
    yield (
        f"Bolts: {listed(words)} instead of {listed(f'{n} of {name}' for (_, name), n in gone.items()) or 'bolts not known'}."
        if words
        else f"Bolts: no longer {listed(f'{n} of {name}' for (_, name), n in gone.items())}."
    )
