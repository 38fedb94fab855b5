"""Where the user and the photos disagree: in words, what each offers to take, and which still stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.corrections.members import holes_along, place_along, turned_like
from recon.corrections.model import Corrections, Disagreement, NotShown, ShownAlong, VouchedMember
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.lattice import overlap
from recon.frame.model import Member
from recon.workshop.wording import plural

ON_LINE = 0.1  # pitches that a member may be off the line or the count of another to be placed by its holes

# What the photos say against a word


def not_shown(mine: Member) -> Disagreement:
    """That the photos do not show a member that the user vouches for."""
    return Disagreement((mine.id,), f"The photos do not show {mine.id}; it stays, as you said.", NotShown())


def shown_otherwise(mine: Member, shown: Member) -> Disagreement:
    """That the photos show the user's member otherwise; both run the same way.

    Examples
    --------
    >>> mine = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> shown_otherwise(mine, replace(mine, holes=10)).text
    'You said 12 holes for A; the photos look like 10. It stays as you said.'
    """
    offset = holes_along(mine, shown)
    words = (
        f"look like {shown.holes}"
        if shown.holes != mine.holes
        else f"show it {plural(abs(offset), 'hole')} {'further on' if offset > 0 else 'further back'}"
    )
    text = f"You said {plural(mine.holes, 'hole')} for {mine.id}; the photos {words}. It stays as you said."
    return Disagreement((mine.id,), text, along(mine, shown))


def ends_differ(mine: Member, shown: Member, word: VouchedMember) -> Disagreement | None:
    """What the photos say against the ends that the user vouches for; None where nothing."""
    shown = turned_like(shown, mine)
    offset = holes_along(mine, shown)
    differ = (offset != 0, offset + shown.holes != mine.holes)
    if any(vouched and other for vouched, other in zip(word.ends, differ)):
        return shown_otherwise(mine, shown)
    return None


def still_shown(deleted: Sequence[Member], number: int, shown: Member) -> Disagreement:
    """That the photos show a member where the user deleted number `number` of `deleted`."""
    mine = deleted[number]
    shown = turned_like(shown, mine)
    found = along(mine, shown)
    what = f"a member of {plural(shown.holes, 'hole')} where you deleted {mine.id}"
    text = f"The photos show {what}; it stays away."
    return Disagreement((), text, found and replace(found, deleted=number))


def along(line: Member, shown: Member) -> ShownAlong | None:
    """How `shown` lies on the line of a member that runs the same way; None off that line or its count."""
    way = (np.array(shown.first) - np.array(line.first)) @ np.array(line.direction)
    off = np.abs(np.array(shown.first) - line.hole_centre(way)).max()
    if off > ON_LINE or abs(way - round(way)) > ON_LINE:
        return None
    return ShownAlong(round(float(way)), shown.holes)


# Disagreements settled


def found(state: State, text: str) -> Disagreement:
    """The disagreement of this text.  Raises ReconError where it does not stand any more."""
    for disagreement in state.corrections.disagreements:
        if disagreement.text == text:
            return disagreement
    raise ReconError("That is settled already.")


def as_shown(state: State, disagreement: Disagreement) -> Member | None:
    """The member as the photos show it; None where they show none, or where that is not known."""
    shown = disagreement.shown
    if not isinstance(shown, ShownAlong):
        return None
    if shown.deleted is None:
        line = state.frame.member(disagreement.members[0])
    else:
        line = state.corrections.deleted[shown.deleted]
    return replace(line, first=place_along(line, shown.offset), holes=shown.holes)


def without(corrections: Corrections, disagreement: Disagreement) -> Corrections:
    """The corrections without this disagreement."""
    return corrections.changed(
        disagreements=tuple(d for d in corrections.disagreements if d is not disagreement)
    )


def restored(corrections: Corrections, number: int) -> Corrections:
    """The corrections without the word that member `number` of those deleted is not there."""
    left = []
    for d in corrections.disagreements:
        of = d.shown.deleted if isinstance(d.shown, ShownAlong) else None
        if of is None or of < number:
            left.append(d)
        elif of > number and isinstance(d.shown, ShownAlong):
            left.append(replace(d, shown=replace(d.shown, deleted=of - 1)))
    deleted = corrections.deleted
    return corrections.changed(deleted=deleted[:number] + deleted[number + 1 :], disagreements=tuple(left))


def confirmed(corrections: Corrections, id: str) -> Corrections:
    """The corrections once the user says again that this member is right as it is."""
    those = [d for d in corrections.disagreements if d.members == (id,)]
    if not those:
        return corrections
    return corrections.changed(
        disagreements=tuple(d for d in corrections.disagreements if d not in those),
        settled=(*corrections.settled, *(d.text for d in those)),
    )


def still_open(before: State, after: State) -> State:
    """The state without the disagreements that a change leaves nothing of.

    Those are the ones over members that it changed or took away, and over deleted members of which it put one
    back.
    """
    corrections = after.corrections
    if not corrections.disagreements:
        return after
    old, new = ({m.id: m for m in s.frame.members} for s in (before, after))
    fresh = [m for id, m in new.items() if id not in old]

    def stands(d: Disagreement) -> bool:
        if isinstance(d.shown, ShownAlong) and d.shown.deleted is not None:
            line = corrections.deleted[d.shown.deleted]
            if any(overlap(line, m) for m in fresh):
                return False
        return all(id in new and old.get(id) == new[id] for id in d.members)

    left = tuple(d for d in corrections.disagreements if stands(d))
    if len(left) == len(corrections.disagreements):
        return after
    return State(after.frame, corrections.changed(disagreements=left))
