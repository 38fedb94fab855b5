"""The user's word stays: how it is given, and the one function that every edit and reading passes through.

A person vouches for members, deletes them, joins and parts laps, sets photos aside, measures a length, gives
the stock.  `uphold` brings whatever came out of an edit or a reading in line with all of that: nothing else
in the program decides between the user's word and a result.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from recon.corrections.laps import bolts_remembered, relapped, without_laps_of
from recon.corrections.members import (
    MINOR_OVERLAP,
    VOUCHED_END,
    holes_along,
    lengthened,
    place_along,
    turned_like,
)
from recon.corrections.model import Corrections, VouchedMember
from recon.corrections.state import State
from recon.frame.lattice import overlap
from recon.frame.length import SIZE_DOUBTS
from recon.frame.model import Frame, Member

SET_ASIDE = "set aside by hand"  # the reason of a photo that the user does not want used

# Giving the word


def vouch(
    corrections: Corrections,
    id: str,
    *,
    place: bool | None = None,
    ends: tuple[bool | None, bool | None] = (None, None),
) -> Corrections:
    """The corrections with what of a member the user vouches for now.

    Parameters
    ----------
    corrections : Corrections
    id : str
    place : bool, optional
        Whether its place is vouched for; None leaves that as it was.
    ends : tuple of bool or None
        Likewise for its ends, at hole 0 and at the last hole.

    Examples
    --------
    >>> vouch(Corrections(), "A", place=True, ends=(None, True)).members["A"]
    VouchedMember(place=True, ends=(False, True))
    """
    old = corrections.vouched(id)
    first, last = (o if e is None else e for o, e in zip(old.ends, ends))
    new = VouchedMember(old.place if place is None else place, (first, last))
    return corrections.changed(members={**corrections.members, id: new})


def vouch_wholly(corrections: Corrections, ids: Iterable[str]) -> Corrections:
    """The corrections with the user vouching for the place and both ends of members."""
    for id in ids:
        corrections = vouch(corrections, id, place=True, ends=(True, True))
    return corrections


def withdraw(corrections: Corrections, id: str) -> Corrections:
    """The corrections with nothing said of a member or its laps any more."""
    if id in corrections.members:
        corrections = corrections.changed(members={k: v for k, v in corrections.members.items() if k != id})
    return without_laps_of(corrections, id)


def delete(corrections: Corrections, members: Sequence[Member]) -> Corrections:
    """The corrections with the word that these members are not there."""
    return corrections.changed(deleted=(*corrections.deleted, *members))


# Keeping it


def uphold(
    before: State,
    after: State,
    *,
    renewed: Collection[str] | None = frozenset(),
    moved: set[str] | None = None,
    reading: bool = False,
) -> State:
    """What came out of an edit or a reading, brought in line with the user's word.

    Parameters
    ----------
    before : State
        The state that the word was given of.
    after : State
        What came out; its corrections are the word that holds now.
    renewed : collection of str or None
        Members of which this very change is the user's word: they are as it made them.  None for all.
    moved : set of str, optional
        Members whose laps must be found anew.
    reading : bool
        Whether `after` was read from photos: then all laps are found anew, nothing remembers the bolts of the
        old ones, photos set aside stay so, and pitch and stock are kept where the user gave them.

    Returns
    -------
    State
        Members that the user vouches for are there and have the ends that are vouched for, and none that was
        read lies on them; words on laps are obeyed.
    """
    members = after.frame.members if renewed is None else _members_upheld(before, after, renewed)
    frame, corrections = after.frame, after.corrections
    if members is not frame.members:
        frame = replace(frame, members=members)
    if reading:
        ids = {m.id for m in members}
        frame = _photos_upheld(frame, corrections)
        frame = _size_upheld(before.frame, frame, corrections)
        frame = replace(frame, joints=tuple(j for j in frame.joints if j.a in ids and j.b in ids))
        return State(relapped(frame, ids, corrections), corrections)
    if moved:
        lapped = relapped(frame, moved, corrections)
        corrections = bolts_remembered(corrections, frame, lapped, moved)
        frame = lapped
    return State(frame, corrections)


def _members_upheld(before: State, after: State, renewed: Collection[str]) -> tuple[Member, ...]:
    """The members after a change, those of before in their order, then the new ones."""
    words = after.corrections.members
    mine = {
        m.id: m
        for m in before.frame.members
        if m.id in words and m.id in before.corrections.members and m.id not in renewed
    }
    there = {m.id: m for m in after.frame.members}
    if all(there.get(id) is m for id, m in mine.items()):
        return after.frame.members
    result = {}
    for m in before.frame.members:
        shown = there.pop(m.id, None)
        if m.id in mine:
            result[m.id] = m if shown is None else as_vouched(m, shown, words[m.id])
        elif shown is not None:
            result[m.id] = shown
    vouched = [result[id] for id in mine]
    result |= {id: m for id, m in there.items() if id in renewed or not lies_on(m, vouched)}
    return tuple(result.values())


def as_vouched(mine: Member, shown: Member, word: VouchedMember) -> Member:
    """A member as it was read, with what the user vouches for as it was; a free end may have changed."""
    shown = turned_like(shown, mine)
    offset = holes_along(mine, shown)
    low = 0 if word.ends[0] else offset
    high = mine.holes - 1 if word.ends[1] else offset + shown.holes - 1
    if high < low:
        low, high = 0, mine.holes - 1
    holes = high - low + 1
    return replace(
        mine,
        first=place_along(mine, low),
        holes=holes,
        ends=(
            VOUCHED_END if word.ends[0] else lengthened(shown.ends[0], holes - shown.holes),
            VOUCHED_END if word.ends[1] else lengthened(shown.ends[1], holes - shown.holes),
        ),
        confidence=1.0 if all(word.ends) else shown.confidence,
        seen=shown.seen,
    )


def lies_on(member: Member, others: Iterable[Member]) -> bool:
    """Whether most of a member's holes lie on one of the others."""
    return any(overlap(other, member) > MINOR_OVERLAP * member.holes for other in others)


def deleted_number(before: State, member: Member) -> int | None:
    """The number among the deleted members of the one that a member which was read lies on.

    None where it lies on none, or where it is a member that the user vouches for since.
    """
    corrections = before.corrections
    number = next((i for i, d in enumerate(corrections.deleted) if lies_on(member, [d])), None)
    vouched = (m for m in before.frame.members if m.id in corrections.members)
    return None if number is None or lies_on(member, vouched) else number


def _photos_upheld(frame: Frame, corrections: Corrections) -> Frame:
    """The frame with the photos unused that the user set aside."""
    photos = (
        replace(p, used=False, reason=SET_ASIDE) if p.file in corrections.set_aside else p
        for p in frame.photos
    )
    return replace(frame, photos=tuple(photos))


def _size_upheld(before: Frame, frame: Frame, corrections: Corrections) -> Frame:
    """The frame with the pitch that the user measured and the stock that they gave."""
    if corrections.measured:
        doubts = [d for d in frame.doubts if not d.startswith(SIZE_DOUBTS)] + [
            d for d in before.doubts if d.startswith(SIZE_DOUBTS)
        ]
        frame = replace(
            frame, pitch_mm=before.pitch_mm, stock=before.stock or frame.stock, doubts=tuple(doubts)
        )
    if corrections.stock_given:
        frame = replace(frame, stock=before.stock, pitch_mm=before.pitch_mm or frame.pitch_mm)
    return frame
