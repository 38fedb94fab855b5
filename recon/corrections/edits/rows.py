"""Rows of openings that a person strokes along on a photo whose camera is not known."""

from __future__ import annotations

from dataclasses import dataclass

from recon.corrections import validation
from recon.corrections.codec import LAST_HOLE, Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.model import StrokedRow
from recon.corrections.state import State
from recon.errors import ReconError
from recon.workshop.wording import plural

MOST_ROWS = 200  # of one photo: several times what a large frame shows; this project's choice


@dataclass(frozen=True)
class RowWord:
    """A row of one photo to put in place of number `at`, or after all others."""

    photo: str
    row: StrokedRow
    at: int | None


def _row(state: State, request: Json, stocks: Stocks) -> RowWord:
    photo = validation.text(request, "photo", 300)
    there = state.corrections.rows.get(photo, ())
    if len(there) >= MOST_ROWS:
        raise ReconError(f"{photo} has {MOST_ROWS} rows already; take some out first.")
    (x0, y0), (x1, y1) = validation.pixel(request, "start"), validation.pixel(request, "end")
    row = StrokedRow(
        (round(x0, 1), round(y0, 1)),
        (round(x1, 1), round(y1, 1)),
        validation.whole(request, "holes", 2, LAST_HOLE),
    )
    at = None if request.get("row") is None else validation.whole(request, "row", 0, len(there) - 1)
    return RowWord(photo, row, at)


def put_row(state: State, wanted: RowWord) -> Change:
    """A row of openings and its count of holes: {photo, start: [x, y], end: [x, y], holes; row: the number of
    the one in whose place it comes, or nothing}."""
    rows = list(state.corrections.rows.get(wanted.photo, ()))
    if wanted.at is None:
        rows.append(wanted.row)
    else:
        rows[wanted.at] = wanted.row
    words = f"Row of {plural(wanted.row.holes, 'hole')} in {wanted.photo}"
    return Change(_with_rows(state, wanted.photo, rows), words)


@dataclass(frozen=True)
class RowNumber:
    """A row of a photo by its number, from 0."""

    photo: str
    number: int


def _number(state: State, request: Json, stocks: Stocks) -> RowNumber:
    photo = validation.text(request, "photo", 300)
    rows = state.corrections.rows.get(photo, ())
    if not rows:
        raise ReconError(f"{photo} has no rows drawn by hand.")
    return RowNumber(photo, validation.whole(request, "row", 0, len(rows) - 1))


def take_row_out(state: State, wanted: RowNumber) -> Change:
    """A row taken out again: {photo, row: its number from 0}."""
    rows = list(state.corrections.rows[wanted.photo])
    gone = rows.pop(wanted.number)
    words = f"Row of {plural(gone.holes, 'hole')} taken out of {wanted.photo}"
    return Change(_with_rows(state, wanted.photo, rows), words)


def _with_rows(state: State, photo: str, rows: list[StrokedRow]) -> State:
    kept = {name: mine for name, mine in state.corrections.rows.items() if name != photo}
    if rows:
        kept[photo] = tuple(rows)
    return State(state.frame, state.corrections.changed(rows=kept))


ROW = EditKind("row", _row, put_row)
ROW_GONE = EditKind("row_gone", _number, take_row_out)
