"""A new reading merged with a frame that was corrected.

What the user said holds whatever the solver makes of it (`users_word.uphold`); where the photos say
otherwise, the result carries a disagreement in words, and nothing is overruled.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from recon.corrections import describe
from recon.corrections.disagreements import ends_differ, not_shown, shown_otherwise, still_shown
from recon.corrections.fittings import carried_over, kept
from recon.corrections.members import free_label, same_place, turned_like
from recon.corrections.model import Disagreement, MeasuredLength
from recon.corrections.state import State, joint_key, ordered
from recon.corrections.users_word import deleted_number, uphold
from recon.frame.lattice import align, overlap, transform
from recon.frame.length import parse_known_length
from recon.frame.model import Frame, Joint, Member, Photo, renamed
from recon.frame.objection import Objection
from recon.workshop.confidence_text import SURE
from recon.workshop.wording import plural

MOST_NAMED = 4  # members of which a reading's words say what became of them


@dataclass(frozen=True)
class ReadingRequest:
    """What the user said when a reading was begun.

    Attributes
    ----------
    stock : str or None
        Id of the stock.
    length : str or None
        A measured length, as `recon.frame.length.parse_known_length` reads it.
    """

    stock: str | None = None
    length: str | None = None


def merge_reading(state: State, solved: Frame, objections: Sequence[Objection] = ()) -> State:
    """The state with a newly solved frame, brought in line with what the user said of the old one.

    Parameters
    ----------
    state : State
    solved : Frame
        In any place: it is laid on the old one, and its members get the labels that they had.
    objections : sequence of Objection
        Where the photos say otherwise, from a solver that kept the user's word.

    Examples
    --------
    >>> solved = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12),))
    >>> merge_reading(State(), solved).frame == solved
    True
    """
    old, corrections = state.frame, state.corrections
    if not old.members:
        frame = replace(solved, joints=ordered(solved.members, solved.joints))
        return State(frame, corrections.changed(disagreements=()))
    solved = _laid_on(solved, old)
    members, found = _without_deleted(state, solved.members)
    labels = _labels(state, members)
    names = {m.id: id for m, id in zip(members, labels)}
    members = [renamed(m, names) for m in members]
    if solved.members:
        found += _disagreements(state, members)
    found += _objections(state, objections, {id for d in found for id in d.members})
    place = {m.id: i for i, m in enumerate(old.members)}
    frame = replace(
        solved,
        members=tuple(sorted(members, key=lambda m: place.get(m.id, len(place)))),
        joints=_joints(old, solved, labels),
        name=old.name or solved.name,
    )
    by_text = {d.text: d for d in found}  # each once; what the user settled already is not asked again
    settled = tuple(text for text in corrections.settled if text in by_text)
    corrections = corrections.cleared("bolts").changed(  # bolts are found anew in the photos
        disagreements=tuple(d for text, d in by_text.items() if text not in settled), settled=settled
    )
    after = uphold(state, State(frame, corrections), reading=True)
    fitted = replace(after.frame, fittings=carried_over(old, after.frame.members))
    after = State(kept(old, fitted)[0], after.corrections)
    photos = (*after.frame.photos, *_photos_not_read(old, solved))
    return State(replace(after.frame, photos=photos), after.corrections)


def without_reading_request(state: State, request: ReadingRequest) -> State:
    """The state without the words that are given anew with a reading: its stock, its measured length."""
    frame, corrections = state.frame, state.corrections
    if request.stock:
        corrections = corrections.cleared("stock_given")
    if request.length:
        frame, corrections = replace(frame, pitch_mm=None), corrections.cleared("measured")
    return State(frame, corrections)


def with_reading_request(state: State, request: ReadingRequest) -> State:
    """The state with the stock and length given with its reading as the user's word for further readings."""
    frame, corrections = state.frame, state.corrections
    if request.stock and frame.members:
        corrections = corrections.changed(stock_given=True)
    if request.length and frame.pitch_mm:
        known = parse_known_length(request.length)
        holes = known.holes
        if known.member is not None:
            holes = {m.id: m.holes for m in frame.members}.get(known.member, holes)
        measured = MeasuredLength(
            round(known.mm, 4),
            holes or round(known.mm / frame.pitch_mm, 6),
            known.member if holes else None,
        )
        corrections = corrections.changed(measured=measured)
    return State(frame, corrections)


def reading_words(old: State, new: State) -> str:
    """What a reading made of the state, in words."""
    count = plural(len(new.frame.members), "member")
    if not old.frame.members:
        return f"Read: {count}"
    other = [
        f"{id} {what}"
        for id, what in sorted(describe.members(old, new).items())
        if not what.endswith(("sure", "surer", "settled", "confirmed"))
    ]
    other += describe.fittings(old.frame, new.frame)
    rest = f" and {len(other) - MOST_NAMED} more" if len(other) > MOST_NAMED else ""
    open_ = len(new.corrections.disagreements)
    return f"Solved again: {'; '.join(other[:MOST_NAMED]) + rest if other else 'no member changed'}" + (
        f". In {plural(open_, 'place')} you and the photos differ" if open_ else ""
    )


# The solved frame under the old labels


def _laid_on(solved: Frame, old: Frame) -> Frame:
    """The solved frame moved onto the old one, unless it lies on it already as well as it can."""
    found = align(solved, old) if solved.members else None
    if found is not None and sum(any(same_place(m, o) for o in old.members) for m in solved.members) < len(
        found.pairs
    ):
        solved = transform(solved, found.turn, found.shift)
    return solved


def _without_deleted(state: State, members: Sequence[Member]) -> tuple[list[Member], list[Disagreement]]:
    """The members less those that the user deleted, and disagreements over those that are surely shown."""
    left, found = [], []
    for m in members:
        number = deleted_number(state, m)
        if number is None:
            left.append(m)
        elif m.confidence >= SURE:
            found.append(still_shown(state.corrections.deleted, number, m))
    return left, found


def _labels(state: State, members: Sequence[Member]) -> list[str]:
    """A label for each new member: of the old member on its line that it overlaps most, else a free one."""
    old = state.frame
    pairs = sorted(
        (
            (overlap(o, m), o.id in state.corrections.members, o.id, i)
            for o in old.members
            for i, m in enumerate(members)
        ),
        key=lambda p: (-p[0], not p[1]),
    )
    labels: dict[int, str] = {}
    for shared, _, id, i in pairs:
        if shared > 0 and i not in labels and id not in labels.values():
            labels[i] = id
    taken = {m.id for m in old.members} | set(labels.values())
    for i in range(len(members)):
        if i not in labels:
            labels[i] = free_label(taken)
            taken.add(labels[i])
    return [labels[i] for i in range(len(members))]


def _photos_not_read(old: Frame, solved: Frame) -> list[Photo]:
    """The old frame's photos that the solving did not see, as not used."""
    files = {p.file for p in solved.photos}
    return [
        replace(p, camera=None, used=False, reason=p.reason or "not used")
        for p in {p.file: p for p in old.photos}.values()
        if p.file not in files
    ]


def _joints(old: Frame, solved: Frame, labels: Sequence[str]) -> tuple[Joint, ...]:
    """Joints that say which bolts were seen, under the new labels; laps are found anew from the members."""
    names = {m.id: id for m, id in zip(solved.members, labels)} if len(labels) == len(solved.members) else {}
    words = {joint_key(j): j.bolt for j in old.joints if j.bolt_by}  # also those of a frame file
    read = (replace(j, a=names[j.a], b=names[j.b]) for j in solved.joints if j.a in names and j.b in names)
    return (*old.joints, *(j.with_word(words.get(joint_key(j), "")) for j in read))


# What the photos say against the user


def _disagreements(state: State, members: Sequence[Member]) -> list[Disagreement]:
    """What the members, as they were read, say against those that the user vouches for."""
    shown, found = {m.id: m for m in members}, []
    for mine in state.frame.members:
        word = state.corrections.members.get(mine.id)
        if word is None:
            continue
        there = shown.get(mine.id)
        disagreement = ends_differ(mine, there, word) if there else not_shown(mine)
        if disagreement:
            found.append(disagreement)
    return found


def _objections(state: State, objections: Sequence[Objection], known: Collection[str]) -> list[Disagreement]:
    """What the solver says against words that still stand, but for members `known` to be disagreed on."""
    deleted = state.corrections.deleted
    vouched = {m.id: m for m in state.frame.members if m.id in state.corrections.members}
    found = []
    for o in objections:
        mine = vouched.get(o.member.id)
        if o.deleted:
            number = next((i for i, d in enumerate(deleted) if same_place(o.member, d)), None)
            if number is not None and o.shown is not None:
                found.append(still_shown(deleted, number, o.shown))
        elif mine is not None and mine.id not in known and same_place(mine, o.member):
            found.append(shown_otherwise(mine, turned_like(o.shown, mine)) if o.shown else not_shown(mine))
    return found
