"""The queue of doubts: what to look at, the least sure first."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from typing import Any

from recon.corrections.model import Disagreement, LapKey, NotShown, VouchedMember
from recon.corrections.state import State, joint_key
from recon.frame.joints import components, loose_members
from recon.frame.length import MEASURED, SIZE_DOUBTS
from recon.frame.model import Frame, Member
from recon.workshop.confidence_text import SURE, percent
from recon.workshop.wording import choices_words, lap_words, listed, plural

Item = dict[str, Any]

# How sure the things without a confidence of their own count, 0..1: the order of the queue.  This project's
# choice.
CLASH, LOOSE, IN_PIECES, MEASURED_ANEW, ASSUMED_BOLT, NOTE = 0.01, 0.02, 0.03, 0.04, 0.95, 0.99


def doubts(state: State, clashes: Iterable[tuple[str, str, float]] = ()) -> list[Item]:
    """The doubts about a frame, in the order to go through them.

    Parameters
    ----------
    state : State
    clashes : iterable of (str, str, float)
        Labels of members that take the same room, and how deep, pitches.

    Returns
    -------
    list of dict
        {kind, members, text, lap or None, end or None, sure: 0..1}; a conflict has `take`, too: what the
        photos show in place of the user's word, "none", "member" or null where that is not known.

    Examples
    --------
    >>> unsure = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, confidence=0.6)
    >>> [item["text"] for item in doubts(State(Frame((unsure,))))]
    ['A, 12 holes: 60% sure.']
    """
    frame, corrections = state.frame, state.corrections
    items = [_conflict(d) for d in corrections.disagreements]
    items += [
        _item("room", [a, b], f"{a} and {b} take the same room: move or shorten one of them.", CLASH)
        for a, b, _ in clashes
    ]
    if len(frame.members) > 1:
        items += [
            _item("loose", [id], f"{id} touches no other member.", LOOSE) for id in loose_members(frame)
        ]
    items += _pieces(frame)
    labels = {m.id for m in frame.members}
    items += [item for m in frame.members for item in _of_member(m, corrections.vouched(m.id), labels)]
    items += _bolts(frame, {w.lap for w in corrections.laps})
    items += [_note(text) for text in frame.doubts if text not in corrections.notes_seen]
    return sorted(items, key=lambda i: i["sure"])


def _item(
    kind: str,
    members: Iterable[str],
    text: str,
    sure: float,
    *,
    lap: LapKey | None = None,
    end: int | None = None,
) -> Item:
    return {
        "kind": kind,
        "members": list(members),
        "text": text,
        "sure": round(float(sure), 3),
        "lap": None if lap is None else list(lap),
        "end": end,
    }


def _conflict(disagreement: Disagreement) -> Item:
    shown = disagreement.shown
    take = None if shown is None else "none" if isinstance(shown, NotShown) else "member"
    return {**_item("conflict", disagreement.members, disagreement.text, 0.0), "take": take}


def _note(text: str) -> Item:
    return _item(
        "size" if text.startswith(SIZE_DOUBTS) else "note",
        [],
        text,
        MEASURED_ANEW if text.startswith(MEASURED) else NOTE,
    )


def _pieces(frame: Frame) -> Iterator[Item]:
    pieces = [p for p in components(frame) if len(p) > 1]
    for piece in pieces[1:]:
        text = f"{listed(piece)} hang together, but not with the rest of the frame."
        yield _item("loose", piece, text, IN_PIECES)


def _bolts(frame: Frame, answered: set[LapKey]) -> Iterator[Item]:
    for j in frame.joints:
        if j.bolt == "assumed" and joint_key(j) not in answered:
            text = f"Is there a bolt in {lap_words(j)}? It was out of sight."
            yield _item("bolt", [j.a, j.b], text, ASSUMED_BOLT, lap=(j.a, j.a_hole, j.b, j.b_hole))


def _of_member(m: Member, word: VouchedMember, labels: Container[str]) -> Iterator[Item]:
    if m.confidence < SURE and not word.wholly:
        text = f"{m.id}, {plural(m.holes, 'hole')}: {percent(m.confidence)} sure."
        yield _item("member", [m.id], text, m.confidence)
    for end, (e, vouched) in enumerate(zip(m.ends, word.ends)):
        if e.state != "seen" and not vouched:
            hole = 1 if end == 0 else m.holes
            why = "hidden" if e.state == "hidden" else "cut by the photo's border"
            more = f"; up to {plural(e.extra, 'hole')} more could be there" if e.extra else ""
            if e.choices:
                more = f"; its holes in all are {choices_words(e.choices, labels)}"
            text = f"{m.id}: its end at hole {hole} is {why}{more}."
            yield _item("end", [m.id], text, min(m.confidence, SURE), end=end)
