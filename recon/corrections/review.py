"""The queue of doubts: what to look at, the least sure first."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from typing import Any

from recon.corrections.codec import member_to_json
from recon.corrections.model import Disagreement, LapKey, NotShown, VouchedMember
from recon.corrections.state import State, joint_key
from recon.corrections.unlikely_ends import UnlikelyEnd, grown, unlikely_ends
from recon.frame.joints import components, loose_members
from recon.frame.length import MEASURED, SIZE_DOUBTS
from recon.frame.model import Frame, Member
from recon.workshop.confidence_text import AS_OTHERS, SURE, percent
from recon.workshop.wording import choices_words, lap_words, listed, plural

Item = dict[str, Any]

# How sure the things without a confidence of their own count, 0..1: the order of the queue.  This project's
# choice.
CLASH, LOOSE, IN_PIECES, MEASURED_ANEW, ASSUMED_BOLT, NOTE = 0.01, 0.02, 0.03, 0.04, 0.95, 0.99
SHORT_END, HELD_AT_ONE_END = 0.3, 0.8
MOST_NAMED = 4  # members beside one that a doubt names


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
        photos show in place of the user's word, "none", "member" or null where that is not known.  Where
        something else could be there, `choices` are [{end, holes, by: holes more, at: label or None,
        member: as it would be}].

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
    unlikely = {(u.member, u.end): u for u in unlikely_ends(frame)}
    for m in frame.members:
        items += _of_member(m, corrections.vouched(m.id), labels, unlikely)
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


def _of_member(
    m: Member, word: VouchedMember, labels: Container[str], unlikely: Mapping[tuple[str, int], UnlikelyEnd]
) -> Iterator[Item]:
    """The doubts about a member's place and ends; unlikely: ends that the frame's structure makes so."""
    choices = [choice for end in (0, 1) if not word.ends[end] for choice in _choices(m, end, labels)]
    if m.confidence < SURE and not word.wholly:
        text = f"{m.id}, {plural(m.holes, 'hole')}: {percent(m.confidence)} sure{_instead(m, choices)}."
        yield _item("member", [m.id], text, m.confidence) | ({"choices": choices} if choices else {})
    for end, (e, vouched) in enumerate(zip(m.ends, word.ends)):
        if vouched:
            continue
        sign = unlikely.get((m.id, end))
        own = [c for c in choices if c["end"] == end]
        own += [c for c in _suggested(m, sign) if c["holes"] not in {o["holes"] for o in own}]
        why = f" {_sign_words(m, sign)}" if sign else ""
        if e.state != "seen":
            item = _item("end", [m.id], _hidden_words(m, end, labels) + why, min(m.confidence, SURE), end=end)
        elif sign:
            sure = SHORT_END if sign.short or sign.beside else HELD_AT_ONE_END
            item = _item("unlikely", [m.id], why.strip(), min(m.confidence, sure), end=end)
        else:
            continue
        yield item | ({"choices": own} if own else {})


def _hidden_words(m: Member, end: int, labels: Container[str]) -> str:
    e = m.ends[end]
    why = "hidden" if e.state == "hidden" else "cut by the photo's border"
    more = f"; up to {plural(e.extra, 'hole')} more could be there" if e.extra else ""
    if e.state == "hidden" and not e.extra:
        more = f"; it {AS_OTHERS}"
    if e.choices:
        more = f"; its holes in all are {choices_words(e.choices, labels)}"
    return f"{m.id}: its end at hole {1 if end == 0 else m.holes} is {why}{more}."


def _sign_words(m: Member, sign: UnlikelyEnd) -> str:
    """Why an end is unlikely, and what the member could be instead, in a sentence."""
    hole = 1 if sign.end == 0 else m.holes
    why = []
    if sign.short:
        by = f"{plural(sign.reach, 'hole')} short of {sign.at}"
        why.append(f"its end at hole {hole} stops {by}")
    if sign.beside:
        others = listed(sign.beside[:MOST_NAMED])
        way = "further on" if sign.by > 0 else "sooner"
        why.append(f"{others} beside it all end {plural(abs(sign.by), 'hole')} {way}")
    if sign.free:
        why.append(f"held at one end: {sign.free} of its holes hang free beyond its last bolt")
    at = f" (at {sign.at})" if sign.at else ""
    instead = f": {m.holes} or {m.holes + sign.by}{at}" if sign.by else ""
    return f"{m.id}, {plural(m.holes, 'hole')}: {', and '.join(why)}{instead}."


def _suggested(m: Member, sign: UnlikelyEnd | None) -> list[Item]:
    return [] if sign is None or not sign.by else [_choice(m, sign.end, m.holes + sign.by, sign.at)]


def _choices(m: Member, end: int, labels: Container[str]) -> list[Item]:
    """What else a member could be by the choices of an end."""
    return [
        _choice(m, end, c.holes, c.at if c.at in labels else None)
        for c in m.ends[end].choices
        if c.holes != m.holes and c.holes > 0
    ]


def _choice(m: Member, end: int, holes: int, at: str | None) -> Item:
    by = holes - m.holes
    return {"end": end, "holes": holes, "by": by, "at": at, "member": member_to_json(grown(m, end, by))}


def _instead(m: Member, choices: list[Item]) -> str:
    """What else a member could be, by its ends, to follow how sure it is."""
    if not choices:
        return ""
    return f"; it could have {listed((_choice_words(c, m) for c in choices), 'or')}"


def _choice_words(choice: Item, m: Member) -> str:
    at = f" (at {choice['at']})" if choice["at"] else ""
    return f"{choice['holes']}{at} by its end at hole {1 if choice['end'] == 0 else m.holes}"
