"""All kinds of edits by name, and `edit`, through which every one passes.

A request is a JSON object with `op`, the kind's name, and what that kind needs.  Holes are counted from 0 in
requests and from 1 in words.
"""

from __future__ import annotations

from typing import Any

from recon.corrections import disagreements, users_word, validation
from recon.corrections import fittings as fittings_kept
from recon.corrections.codec import Json
from recon.corrections.edits import (
    copies,
    doubts,
    fittings,
    frame,
    holes,
    laps,
    members,
    photos,
    place,
    rows,
    size,
    stretch,
)
from recon.corrections.edits.kind import EditKind, Stocks
from recon.corrections.measuring import with_size_doubts
from recon.corrections.state import State
from recon.errors import ReconError

EDIT_KINDS: dict[str, EditKind[Any]] = {
    kind.name: kind
    for kind in (
        holes.END,
        members.CONFIRM,
        members.ADD,
        members.DELETE,
        holes.SPLIT,
        holes.MERGE,
        members.SHIFT,
        place.PLACE,
        laps.LAP,
        laps.MAY_TURN,
        size.STOCK,
        size.SCALE,
        photos.PHOTO,
        frame.TURN,
        frame.NAME,
        photos.MARK,
        rows.ROW,
        rows.ROW_GONE,
        copies.COPY,
        fittings.FITTING,
        fittings.FITTING_GONE,
        fittings.FITTING_COPY,
        stretch.STRETCH,
        doubts.SETTLE,
        doubts.NOTE,
    )
}


SEVERAL = "several"  # of the request that has other requests in `edits`
MOST_AT_ONCE = 1000  # edits that are made as one


def edit(state: State, request: Json, stocks: Stocks | None = None) -> tuple[State, str]:
    """The next state and words for the change.

    {op: "several", edits: [requests]} makes several edits as one change, all of them or none.

    Parameters
    ----------
    state : State
    request : dict
        `op` and what that kind of edit needs.
    stocks : dict, optional
        id -> Stock; with them, what is not sure about the size is put in the frame's doubts.

    Raises
    ------
    ReconError
        Where it cannot be done, in words.

    Examples
    --------
    >>> state, words = edit(State(), {"op": "name", "name": "Gate"})
    >>> state.frame.name, words
    ('Gate', 'Frame called Gate')
    """
    if request.get("op") == SEVERAL:
        return _several(state, request, stocks)
    kind = EDIT_KINDS[validation.word(request, "op", EDIT_KINDS)]
    change = kind.apply(state, kind.check(state, request, stocks or {}))
    after = users_word.uphold(
        state,
        change.state,
        renewed=None if kind.concerns_all else change.renewed,
        moved=set(change.moved),
    )
    if not kind.concerns_all:
        after = disagreements.still_open(state, after)
    frame, went = fittings_kept.kept(state.frame, after.frame)
    after = State(frame, after.corrections) if frame is not after.frame else after
    return (after if stocks is None else with_size_doubts(after, stocks)), change.words + went


def _several(state: State, request: Json, stocks: Stocks | None) -> tuple[State, str]:
    edits = request.get("edits")
    if not isinstance(edits, list) or not 0 < len(edits) <= MOST_AT_ONCE:
        raise ReconError(f"'edits' must be a list of 1 to {MOST_AT_ONCE} edits.")
    words = []
    for one in edits:
        if not isinstance(one, dict) or one.get("op") == SEVERAL:
            raise ReconError("'edits' must hold edits.")
        state, done = edit(state, one, stocks)
        words.append(done)
    more = f" and {len(words) - 1} more like it" if len(words) > 1 else ""
    return state, f"{words[0]}{more}"
