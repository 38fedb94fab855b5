"""What to do about a difference between a built frame and its plan, so exactly that it can be carried out.

All of it is in the plan's labels, hole numbers and directions.  Who does all of it has the plan; members that
are laid on others come after these.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from recon.frame.joints import laps_by_member
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import Frame, Joint, Member, axis_of
from recon.geometry.arrays import FloatArray
from recon.workshop.audit.matching import Extra, Matching, Missing, Pair, alike
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import count_word, direction_words, lap_words, listed, plural, towards_words

MIRROR_REMEDY = "Take it apart and build its mirror image: what is on its left is to be on its right."


class Remedies:
    """Sentences that say what to do.

    Parameters
    ----------
    matching : Matching
        The built frame on the plan.
    plan : Frame
        The plan.
    z_up : bool
        Whether the plan's z points up, so that up, down and sides can be said.
    """

    def __init__(self, matching: Matching, plan: Frame, z_up: bool):
        self.matching, self.plan, self.z_up = matching, plan, z_up
        self.right = to_the_right(plan.members) if plan.members else None
        self.pairs = {pair.plan.id: pair for pair in matching.pairs}
        self.members = {m.id: m for m in plan.members}
        self.laps = laps_by_member(plan)

    def member(self, pair: Pair) -> str:
        """A member whose length or place is not the planned one."""
        id, holes = pair.plan.id, plural(pair.plan.holes, "hole")
        if pair.kind == "length":
            return self._length(pair)
        if pair.kind == "shift":
            return f"Move {id} {self._offsets(-pair.start)}{self._other_side(pair)}."
        if pair.plan.holes == pair.built.holes:
            return f"Move {id}: {self._place(pair.plan)}."
        return f"Put one of {holes} in place of {id}: {self._place(pair.plan)}."

    def _length(self, pair: Pair) -> str:
        id, planned, built = pair.plan.id, pair.plan.holes, pair.built.holes
        at_start = np.abs(pair.start).max() > MATCH_TOL
        if built < planned:
            where = 1 if at_start else planned
            more = plural(planned - built, "hole")
            return (
                f"Put one of {plural(planned, 'hole')} in place of {id}: {more} longer at its hole {where}."
            )
        if at_start:
            return f"Cut {plural(built - planned, 'hole')} off {id} at its hole 1."
        return f"Cut {id} off after its hole {planned}."

    def _other_side(self, pair: Pair) -> str:
        """', to the other side of A and B', where that is what the shift comes to."""
        off = pair.start
        across = [j for j in self.laps[pair.plan.id] if abs(np.dot(j.axis, off)) > MATCH_TOL]
        hosts = [
            j.b
            for j in across
            if np.abs(off - np.dot(off, j.axis) * np.asarray(j.axis)).max() < MATCH_TOL
            and abs(np.dot(off, j.axis) - pair.plan.width - self.members[j.b].width) < MATCH_TOL
        ]
        return f", to the other side of {listed(dict.fromkeys(hosts))}" if hosts else ""

    def group(self, pairs: Sequence[Pair]) -> str:
        """Members that are off by the same, or turned as a whole."""
        if alike(pairs):
            return f"Move {listed(p.plan.id for p in pairs)} {self._offsets(-pairs[0].start)}."
        return " ".join(self.member(pair) for pair in pairs if pair.kind != "same")

    def exchange(self, one: Pair, other: Pair) -> str:
        """Two members in each other's place."""
        places = [
            f"the {p.plan.holes}-hole member goes where {p.plan.id} belongs, {self._kept_end(p)}"
            for p in (one, other)
        ]
        return f"Exchange {one.plan.id} and {other.plan.id}: {'; '.join(places)}."

    def _kept_end(self, pair: Pair) -> str:
        if np.abs(pair.start).max() <= MATCH_TOL:
            return "hole 1 where it is now"
        if np.abs(pair.end).max() <= MATCH_TOL:
            return "the last hole where it is now"
        return self._place(pair.plan)

    def missing(self, match: Missing) -> str:
        """A member that was not built."""
        return f"Add {match.plan.id}, {plural(match.plan.holes, 'hole')}: {self._place(match.plan)}."

    def extra(self, match: Extra) -> str:
        """A member that is not in the plan."""
        return f"Take out {match.built.id}."

    def bolt_missing(self, joint: Joint) -> str:
        """A planned bolt that is not there."""
        return f"Put a bolt through {lap_words(joint)}."

    # Places

    def _place(self, member: Member) -> str:
        """Where a member belongs: which way it runs, and which hole of it lies where."""
        runs = f"it runs {towards_words(member.direction, self.z_up, self.right)}"
        laps = sorted(self.laps[member.id], key=lambda j: (*self._host_rank(j), j.a_hole))
        if axis_of(member) is None:
            laps = self._two_apart(laps)
            runs = self._slant(member, laps)
        else:
            laps = laps[:1]
        if not laps:
            return f"{runs}, {self._from_other(member)}"
        return f"{runs}, {', '.join(map(self._lap, laps))}"

    def _two_apart(self, laps: Sequence[Joint]) -> list[Joint]:
        """Of a member at an angle the first lap and the one farthest from it among hosts that are as good."""
        others = [j for j in laps[1:] if j.a_hole != laps[0].a_hole]
        if not others:
            return list(laps[:1])
        best = min(map(self._host_rank, others))
        good = [j for j in others if self._host_rank(j) == best]
        return [laps[0], max(good, key=lambda j: abs(j.a_hole - laps[0].a_hole))]

    def _slant(self, member: Member, laps: Sequence[Joint]) -> str:
        """Which way a member at an angle runs: by the sides alone where two laps give the angle."""
        reach = member.last - np.asarray(member.first, float)
        if len(laps) < 2:
            return f"it runs at an angle, hole {member.holes} {self._offsets(reach)} of its hole 1"
        return f"it runs at an angle, {listed(self._ways(reach))}"

    def _ways(self, off: FloatArray) -> Iterator[str]:
        """'to the back', 'up': the ways that an offset goes, the farthest first."""
        for k in np.argsort(-np.abs(off), kind="stable"):
            if abs(off[k]) > MATCH_TOL / 2:
                yield towards_words(np.eye(3)[k] * np.sign(off[k]), self.z_up, self.right)

    def _lap(self, joint: Joint) -> str:
        side = direction_words(-np.asarray(joint.axis, float), self.z_up, self.right)
        named = self.z_up and self.right is not None
        other = f"on its {side} side" if side.isalpha() else f"on its side towards {side}"
        if named and not side.isalpha():
            other = f"on its side that looks {side}"
        words = {"up": "on top of it", "down": "below it"}.get(side, other)
        return f"its hole {joint.a_hole + 1} on hole {joint.b_hole + 1} of {joint.b}, {words}"

    def _host_rank(self, joint: Joint) -> tuple[bool, bool]:
        """Hosts that are where they belong come first."""
        pair = self.pairs.get(joint.b)
        return (pair is None or pair.kind != "same", pair is None or not pair.stays)

    def _from_other(self, member: Member) -> str:
        """Where hole 1 of a member that lies on no other is, from hole 1 of another."""
        others = [m for m in self.plan.members if m.id != member.id]
        other = min(others, key=lambda m: m.id not in self.pairs or self.pairs[m.id].kind != "same")
        return f"its hole 1 {self._offsets(np.subtract(member.first, other.first))} of hole 1 of {other.id}"

    def _offsets(self, off: FloatArray) -> str:
        """'two holes to the right and one hole up', the largest first."""
        return listed(self._offset_words(off)) or "at the place"

    def _offset_words(self, off: FloatArray) -> Iterator[str]:
        far = sorted((abs(x) for x in off if abs(x) > MATCH_TOL / 2), reverse=True)
        for x, way in zip(far, self._ways(off)):
            yield f"{distance_words(x)} {way}"


def distance_words(x: float) -> str:
    """'two holes', '2.5 pitches'.

    >>> distance_words(2.0), distance_words(2.5)
    ('two holes', '2.5 pitches')
    """
    if abs(x - round(x)) < MATCH_TOL / 2:
        n = round(x)
        return f"{count_word(n)} {'hole' if n == 1 else 'holes'}"
    return f"{x:.4g} pitches"
