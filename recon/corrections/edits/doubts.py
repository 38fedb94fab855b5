"""Doubts answered: a disagreement between the user and the photos settled, a note seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

from recon.corrections import disagreements, users_word, validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks, members_changed
from recon.corrections.edits.members import delete
from recon.corrections.laps import renumbered
from recon.corrections.members import VOUCHED_END, free_label, put
from recon.corrections.model import Disagreement, NotShown, ShownAlong
from recon.corrections.state import State
from recon.errors import ReconError
from recon.workshop.wording import plural


@dataclass(frozen=True)
class Settlement:
    """Which holds in a disagreement: "mine", as the user said, or "photos", as they show it."""

    disagreement: Disagreement
    word: str


def _settlement(state: State, request: Json, stocks: Stocks) -> Settlement:
    disagreement = disagreements.found(state, validation.text(request, "text", 500))
    return Settlement(disagreement, validation.word(request, "word", ("mine", "photos")))


def settle(state: State, wanted: Settlement) -> Change:
    """Where the user and the photos disagree: {text of the disagreement, word: mine or photos}."""
    disagreement = wanted.disagreement
    corrections = disagreements.without(state.corrections, disagreement)
    ids = disagreement.members
    if wanted.word == "mine":
        corrections = corrections.changed(settled=(*corrections.settled, disagreement.text))
        words = f"{ids[0] if ids else 'The deleted member'} stays as you said"
        return Change(State(state.frame, corrections), words)
    if disagreement.shown is None:
        raise ReconError("What the photos show is not kept with this difference; solve again first.")
    if isinstance(disagreement.shown, NotShown):
        members = [validation.member_of(state.frame, id) for id in ids]
        return delete(State(state.frame, corrections), members)
    return _as_shown(state, disagreement, disagreement.shown)


def _as_shown(state: State, disagreement: Disagreement, where: ShownAlong) -> Change:
    """The member as the photos show it, on the user's word from now on."""
    shown = disagreements.as_shown(state, disagreement)
    if shown is None:
        raise ReconError("That is settled already.")
    state = State(state.frame, disagreements.without(state.corrections, disagreement))
    if where.deleted is None:
        id, by, holes = shown.id, where.offset, where.holes
        state = renumbered(state, id, lambda k: (id, k - by), holes)
    else:
        if shown.id in {m.id for m in state.frame.members}:
            shown = replace(shown, id=free_label(state.frame))
        state = State(state.frame, disagreements.restored(state.corrections, where.deleted))
    corrections = users_word.vouch_wholly(state.corrections, [shown.id])
    shown = replace(shown, ends=(VOUCHED_END, VOUCHED_END), confidence=1.0)
    words = f"{shown.id} as the photos show it, {plural(shown.holes, 'hole')}"
    return members_changed(state, put(state.frame, shown), corrections, {shown.id}, words)


def _note(state: State, request: Json, stocks: Stocks) -> str:
    text = validation.text(request, "text", 1000)
    if text not in state.frame.doubts:
        raise ReconError("That is settled already.")
    return text


def see_note(state: State, text: str) -> Change:
    """A sentence of the frame's doubts was seen: {text}.  It is known by its text: the same is not shown
    again after another reading."""
    others = (t for t in state.corrections.notes_seen if t != text)
    corrections = state.corrections.changed(notes_seen=(*others, text))
    return Change(State(state.frame, corrections), f"Seen: {text}")


SETTLE = EditKind("settle", _settlement, settle)
NOTE = EditKind("note", _note, see_note)
