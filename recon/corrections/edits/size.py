"""The size of the frame: its stock, and a length measured on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from recon.corrections import measuring, validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.measuring import KnownSize
from recon.corrections.state import State
from recon.frame.model import StockUse
from recon.frame.stock import Stock
from recon.workshop.wording import listed


@dataclass(frozen=True)
class StockChoice:
    """The stock of some members; of all and of the frame where `ids` is None."""

    stock: Stock
    ids: frozenset[str] | None


def _stock(state: State, request: Json, stocks: Stocks) -> StockChoice:
    stock = validation.stock(stocks, request)
    if request.get("members") is None:
        return StockChoice(stock, None)
    return StockChoice(stock, frozenset(validation.several(request, "members")))


def choose_stock(state: State, wanted: StockChoice) -> Change:
    """The stock of some members or, where `members` is null, of all: {members, stock}."""
    stock, frame, corrections = wanted.stock, state.frame, state.corrections
    ids = {m.id for m in frame.members} if wanted.ids is None else wanted.ids
    members = tuple(
        replace(m, stock=stock.id, width=stock.width) if m.id in ids else m for m in frame.members
    )
    if wanted.ids is None:
        pitch = frame.pitch_mm if corrections.measured and frame.pitch_mm else stock.pitch_mm
        frame = replace(frame, stock=StockUse(stock.id, "given", 1.0), pitch_mm=pitch)
        corrections = corrections.changed(stock_given=True)
    moved = {m.id for old, m in zip(frame.members, members) if old.width != m.width}
    words = f"{'All members' if wanted.ids is None else listed(sorted(ids))}: {stock.name}"
    return Change(State(replace(frame, members=members), corrections), words, moved=frozenset(moved))


def _size(state: State, request: Json, stocks: Stocks) -> KnownSize:
    text = validation.text(request, "text", measuring.LONGEST_TEXT)
    if request.get("points") is not None:
        return measuring.size_between(state.frame, measuring.spots(state.frame, request), text)
    return measuring.size_of(state.frame, text)


def set_size(state: State, size: KnownSize) -> Change:
    """The pitch from one measured length: {text: 'A = 610 mm' or '16 holes = 24 1/8 in'}, or
    {text: '571.5 mm', points: two of {member, hole, face}}, from centre to centre."""
    use = state.frame.stock
    frame = replace(state.frame, pitch_mm=size.pitch_mm, stock=use and replace(use, how="length"))
    return Change(State(frame, state.corrections.changed(measured=size.measured)), size.words)


STOCK = EditKind("stock", _stock, choose_stock, concerns_all=True)
SCALE = EditKind("scale", _size, set_size)
