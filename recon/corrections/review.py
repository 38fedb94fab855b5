"""The queue of doubts: what to look at, the least sure first."""

from __future__ import annotations

from recon.corrections.state import State, joint_key
from recon.frame.confidence import SURE
from recon.frame.joints import components, loose_members
from recon.frame.length import MEASURED, SIZE_DOUBTS
from recon.frame.model import Frame
from recon.workshop.confidence_text import percent
from recon.workshop.wording import lap_words, listed, plural


def doubts(state: State, clashes=()) -> list[dict]:
    """Items {kind, members, text, lap or None, end or None, sure: 0..1}, in the order to go through them; a conflict has `take`, too:
    what the photos show in place of the user's word, "none", "member" or null where that is not kept.

    clashes : (id, id, depth) of members that take the same room.
    """
    frame, said = state.frame, state.said
    told = {tuple(entry[:4]) for entry in said.get("laps", [])}
    items = [
        {**_item("conflict", c.get("members", []), c["text"], 0.0), "take": _offer(c)}
        for c in said.get("conflicts", [])
    ]
    items += [
        _item("room", [a, b], f"{a} and {b} take the same room: move or shorten one of them.", 0.01)
        for a, b, _ in clashes
    ]
    if len(frame.members) > 1:
        items += [_item("loose", [id], f"{id} touches no other member.", 0.02) for id in loose_members(frame)]
    items += _pieces(frame)
    items += [item for m in frame.members for item in _of_member(m, said)]
    items += [
        _item(
            "bolt",
            [j.a, j.b],
            f"Is there a bolt in {lap_words(j)}? It was out of sight.",
            0.95,
            lap=[j.a, j.a_hole, j.b, j.b_hole],
        )
        for j in frame.joints
        if j.bolt == "assumed" and joint_key(j) not in told
    ]
    items += [
        _item(
            "size" if text.startswith(SIZE_DOUBTS) else "note",
            [],
            text,
            0.04 if text.startswith(MEASURED) else 0.99,
        )
        for text in frame.doubts
        if text not in said.get("read_notes", [])
    ]
    return sorted(items, key=lambda i: i["sure"])


def _offer(conflict) -> str | None:
    take = conflict.get("take")
    return take and ("none" if "gone" in take else "member")


def _item(kind, members, text, sure, lap=None, end=None) -> dict:
    return {
        "kind": kind,
        "members": list(members),
        "text": text,
        "sure": round(float(sure), 3),
        "lap": lap,
        "end": end,
    }


def _pieces(frame: Frame):
    pieces = [p for p in components(frame) if len(p) > 1]
    for piece in pieces[1:]:
        yield _item(
            "loose", piece, f"{listed(piece)} hang together, but not with the rest of the frame.", 0.03
        )


def _of_member(m, said):
    word = said.get("members", {}).get(m.id, {"place": False, "ends": [False, False]})
    if m.confidence < SURE and not (word["place"] and all(word["ends"])):
        yield _item(
            "member",
            [m.id],
            f"{m.id}, {plural(m.holes, 'hole')}: {percent(m.confidence)} sure.",
            m.confidence,
        )
    for end, (e, vouched) in enumerate(zip(m.ends, word["ends"])):
        if e.state != "seen" and not vouched:
            hole = 1 if end == 0 else m.holes
            why = "hidden" if e.state == "hidden" else "cut by the photo's border"
            more = f"; up to {plural(e.extra, 'hole')} more could be there" if e.extra else ""
            yield _item(
                "end",
                [m.id],
                f"{m.id}: its end at hole {hole} is {why}{more}.",
                min(m.confidence, SURE),
                end=end,
            )
