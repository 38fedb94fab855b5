"""What is wrong with the fittings of a frame before it is built."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from recon.frame.fitting import BOARDS, Fitting
from recon.frame.fitting_boxes import bolt_spots, opens_on
from recon.frame.length import both_text
from recon.frame.model import Frame, Member
from recon.workshop.hardware.bolts import Bolt, Hole, bolt_words
from recon.workshop.hardware.fitting_bolts import shared_bolts
from recon.workshop.rigidity.findings import TOUCH, Finding
from recon.workshop.solids import Boxes, bolt_ends, fitting_solids, member_boxes, overlapping
from recon.workshop.wording import holes_in_words, listed, plural


def find_wrong_fittings(frame: Frame, bolts: Sequence[Bolt], hole: float) -> Iterator[Finding]:
    """All that is wrong with fittings: holes that are not there or taken, faces, and what is in their room.

    Parameters
    ----------
    frame : Frame
    bolts : sequence of Bolt
        Of its laps.
    hole : float
        Diameter of the holes, pitches.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 12),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> [f.text for f in find_wrong_fittings(Frame((rail,), pitch_mm=40.0, fittings=(foot,)), (), 0.28)]
    ['Foot F1 is bolted to hole 13 of A, which has 9 holes; choose other holes, or make A longer.']
    """
    if not frame.fittings:
        return
    members = {m.id: m for m in frame.members}
    if not frame.pitch_mm:
        ids = listed([f.id for f in frame.fittings])
        text = f"The frame's size is not known, and so not the room that {ids} take; give its stock."
        yield Finding("fitting", (), (), text)
    for f in frame.fittings:
        yield from _holes_that_are_not_there(f, members)
        yield from _faces(f, members, frame.pitch_mm)
    taken: dict[Hole, Fitting] = {}
    shared = shared_bolts(frame)
    through = {at: bolt for bolt in bolts for at in bolt.through}
    for f in frame.fittings:
        yield from _holes_taken(f, through, shared, taken)
        taken |= dict.fromkeys(f.holes, f)
    yield from _no_room(frame, bolts, hole)


def _finding(
    f: Fitting,
    text: str,
    others: Sequence[str] = (),
    bolt: Bolt | None = None,
    other: Fitting | None = None,
) -> Finding:
    """One thing that is wrong with a fitting, and perhaps another."""
    both = (f, other) if other else (f,)
    members = dict.fromkeys([*(id for one in both for id in one.members), *others])
    joints = bolt.joints if bolt else ()
    ids = tuple(one.id for one in both)
    return Finding("fitting", tuple(members), joints, text[:1].upper() + text[1:], ids)


def _holes_that_are_not_there(f: Fitting, members: Mapping[str, Member]) -> Iterator[Finding]:
    for id in f.members:
        wrong = [(i, k) for i, k in f.holes if i == id and not 0 <= k < members[id].holes]
        if not wrong:
            continue
        has = plural(members[id].holes, "hole")
        if min(k for _, k in wrong) < 0:  # beyond hole 1 there are no numbers
            where = f"{plural(len(wrong), 'hole')} beyond the end of {id}"
        else:
            where = holes_in_words(wrong)
        yield _finding(
            f, f"{f.words} is bolted to {where}, which has {has}; choose other holes, or make {id} longer."
        )


def _faces(f: Fitting, members: Mapping[str, Member], pitch_mm: float | None) -> Iterator[Finding]:
    """Holes that do not open on the fitting's side, and faces that do not lie in one plane."""
    closed = [id for id in f.members if not opens_on(members[id], f.face)]
    if closed:
        text = f"{f.words} lies on a side of {listed(closed)} on which no holes open; put it on another side."
        yield _finding(f, text)
        return
    level = bolt_spots(f, members) @ np.asarray(f.face, float)
    deep = float(np.ptp(level))
    if deep > TOUCH:
        low = [at for at, spot in zip(f.holes, level) if level.max() - spot > TOUCH]
        far = both_text(deep * pitch_mm) if pitch_mm else f"{deep:.3g} pitches"
        text = f"{f.words} does not lie flat: at {holes_in_words(low)} the face is up to {far} lower"
        yield _finding(f, f"{text}; choose holes on faces that are level, or put spacers between.")


def _holes_taken(
    f: Fitting,
    through: Mapping[Hole, Bolt],
    shared: Mapping[Bolt, Sequence[Fitting]],
    taken: Mapping[Hole, Fitting],
) -> Iterator[Finding]:
    for at in f.holes:
        id, k = at
        if at in taken:
            text = f"{f.words} and {taken[at].words} are both bolted to hole {k + 1} of {id}"
            text += "; move one of them by a hole, or take one longer bolt for both."
            yield _finding(f, text, other=taken[at])
        elif at in through:
            bolt = through[at]
            there = f"where the bolt through {bolt_words(bolt)} is"
            text = f"{f.words} is bolted to hole {k + 1} of {id}, {there}"
            others = [id for id, _ in bolt.through]
            remedy = "move the fitting by a hole"
            if f in shared.get(bolt, ()):
                remedy = "one longer bolt through all is in the parts list; else move the fitting by a hole"
            yield _finding(f, f"{text}; {remedy}.", others, bolt)


def _no_room(frame: Frame, bolts: Sequence[Bolt], hole: float) -> Iterator[Finding]:
    """Members, other fittings and ends of bolts in a fitting's room."""
    ids, boxes = fitting_solids(frame)
    at = {f.id: f for f in frame.fittings}
    fittings = [at[id] for id in ids]
    if not fittings:
        return
    found, others = overlapping(boxes, member_boxes(frame.members))
    for k, m in zip(found.tolist(), others.tolist()):
        id = frame.members[m].id
        text = f"{fittings[k].words} and {id} take the same room; move the fitting, or correct its size."
        yield _finding(fittings[k], text, [id])
    found, others = overlapping(boxes, boxes)
    for k, m in zip(found.tolist(), others.tolist()):
        if k < m:
            text = f"{fittings[k].words} and {fittings[m].words} take the same room; move one of them."
            yield _finding(fittings[k], text, other=fittings[m])
    for k, bolt in _ends_below(boxes, bolts, hole):
        if set(bolt.through) & set(fittings[k].holes):
            continue  # said above
        text = f"{fittings[k].words} lies on an end of the bolt through {bolt_words(bolt)}; move it by a hole"
        text += ", or cut a recess into it." if fittings[k].kind in BOARDS else "."
        yield _finding(fittings[k], text, [id for id, _ in bolt.through], bolt)


def _ends_below(boxes: Boxes, bolts: Sequence[Bolt], hole: float) -> Iterator[tuple[int, Bolt]]:
    """Which box has an end of which bolt in it."""
    if bolts:
        found, ends = overlapping(boxes, bolt_ends(bolts, hole))
        for k, b in dict.fromkeys(zip(found.tolist(), (ends // 2).tolist())):
            yield k, bolts[b]
