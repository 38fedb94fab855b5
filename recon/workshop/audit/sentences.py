"""The sentences of an audit: what a builder has to do about a member or a bolt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from recon.frame.joints import find_joints, laps_by_member
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import End, Frame, Joint, axis_of, flipped
from recon.geometry.arrays import FloatArray
from recon.workshop.audit.matching import Extra, Matching, Missing, Pair, alike
from recon.workshop.audit.remedies import distance_words
from recon.workshop.confidence_text import percent
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import direction_words, holes_words, lap_words, listed, plural

_OUT_OF_SIGHT = {"hidden": "hidden", "cut": "beyond the photos' border"}


class AuditSentences:
    """Sentences about a matching, in the plan's labels.  Built labels are added where they differ.

    Parameters
    ----------
    matching : Matching
        The built frame on the plan.
    plan : Frame
        The plan.
    z_up : bool
        Whether the plan's z points up, so that "low" and "high" can be said.
    """

    def __init__(self, matching: Matching, plan: Frame, z_up: bool):
        self.matching, self.plan, self.z_up = matching, plan, z_up
        self.right = to_the_right(plan.members) if plan.members else None
        self.pairs = {pair.plan.id: pair for pair in matching.pairs}
        self.laps = laps_by_member(plan)

    @staticmethod
    def _name(pair: Pair, more: str = "") -> str:
        """'F', 'F (12 holes)', 'F (C in the built frame)'."""
        notes = [more] if more else []
        if pair.built.id != pair.plan.id:
            notes.append(f"{pair.built.id} in the built frame")
        return pair.plan.id + (f" ({'; '.join(notes)})" if notes else "")

    def member(self, pair: Pair) -> str:
        """A member whose length or place is not the planned one."""
        if pair.kind == "length":
            return f"Member {self._length(pair)}."
        if pair.kind == "both":
            return f"Member {self._length(pair)}, and {self._off(pair)}."
        if pair.kind == "shift":
            return f"{self._name(pair)} {self._off(pair)}."
        return (
            f"{self._name(pair, plural(pair.built.holes, 'hole'))} is elsewhere: it lies on "
            f"{self._lies_on(pair)}, plan {self._planned_on(pair)}."
        )

    def group(self, pairs: Sequence[Pair]) -> str:
        """Members that are off by the same, or turned as a whole."""
        names = listed(map(self._name, pairs))
        if alike(pairs):
            return f"{names} sit {listed(self._offset_words(pairs[0].start))} together."
        return f"{names} are elsewhere together: they are joined as planned, but turned against the rest."

    def exchanged(self, one: Pair, other: Pair) -> str:
        """Two members in each other's place: by their lengths, or by where they lie."""
        if one.kind == other.kind == "shift":
            places = " and ".join(
                f"{self._name(p, plural(p.built.holes, 'hole'))} lies where {q.plan.id} belongs"
                for p, q in ((one, other), (other, one))
            )
            return f"{one.plan.id} and {other.plan.id} are exchanged: {places}."
        lengths = " and ".join(
            f"{self._name(p)} has {plural(p.built.holes, 'hole')}, plan {p.plan.holes}" for p in (one, other)
        )
        return f"{one.plan.id} and {other.plan.id} are exchanged: {lengths}."

    def _length(self, pair: Pair) -> str:
        text = f"{self._name(pair)}: {plural(pair.built.holes, 'hole')}, plan {pair.plan.holes}"
        if pair.kind == "length":
            at_start = np.abs(pair.start).max() > MATCH_TOL
            more = pair.built.holes - pair.plan.holes
            too = f"{plural(abs(more), 'hole')} too {'long' if more > 0 else 'short'}"
            text += f"; the end {self._end_words(pair, 0 if at_start else 1)} is {too}"
        return text

    def _end_words(self, pair: Pair, which: int) -> str:
        """'at hole 1, the lower one'."""
        out = np.asarray(pair.plan.direction, float) * (1 if which else -1)
        if self.z_up and self.right is not None:  # of a brace the side that it runs to most
            k = int(np.abs(out).argmax())
            out = np.eye(3)[k] * np.sign(out[k])
        way = direction_words(out, self.z_up, self.right)
        named = {"up": "the upper one", "down": "the lower one"}
        words = named.get(way, f"the {way} one" if way.isalpha() else f"towards {way}")
        return f"at hole {pair.plan.holes if which else 1}, {words},"

    def _off(self, pair: Pair) -> str:
        """'sits one hole too low on both posts (A and B) and no longer lies on D'."""
        off = pair.start
        if pair.kind == "both":
            middle = (pair.start + pair.end) / 2
            along = np.asarray(pair.plan.direction, float)
            across = middle - along * (middle @ along)
            off = across if np.abs(across).max() > MATCH_TOL else pair.start
        on, lost = self._hosts(pair)
        rails = [id for id in on if self._runs_along(id, off)]
        text = f"sits {listed(self._offset_words(off))}"
        if rails:
            text += f" on {self._host_words(rails)}"
        if lost:
            text += f" and no longer lies on {listed(lost, 'or')}"
        return text

    def _offset_words(self, off: FloatArray) -> list[str]:
        """['one hole too low', '2.5 pitches too far to the right'], the largest first."""
        words = []
        for k in np.argsort(-np.abs(off), kind="stable"):
            if abs(off[k]) > MATCH_TOL:
                way = direction_words(np.eye(3)[k] * np.sign(off[k]), self.z_up, self.right)
                far = f"too far {'to the' if way.isalpha() else 'along'} {way}"
                too = {"up": "too high", "down": "too low"}.get(way, far)
                words.append(f"{distance_words(abs(off[k]))} {too}")
        return words

    def _hosts(self, pair: Pair) -> tuple[list[str], list[str]]:
        """Members that it lies on in the plan and still does, and those that it no longer lies on."""
        on: list[str] = []
        lost: list[str] = []
        for other in dict.fromkeys(j.b for j in self.laps[pair.plan.id]):
            host = self.pairs.get(other)
            if host is not None:
                (on if find_joints([pair.built, host.built]) else lost).append(other)
        return on, lost

    def _runs_along(self, id: str, off: FloatArray) -> bool:
        """Whether the member `id` runs the way of the offset, so that it is counted in its holes."""
        return abs(np.dot(self.pairs[id].plan.direction, off)) > MATCH_TOL

    def _host_words(self, ids: Sequence[str]) -> str:
        posts = self.z_up and all(axis_of(self.pairs[id].plan) == 2 for id in ids)
        if posts and len(ids) == 2:
            return f"both posts ({listed(ids)})"
        return (f"post{'s' if len(ids) > 1 else ''} " if posts else "") + listed(ids)

    def _lies_on(self, match: Pair | Extra) -> str:
        """What a built member lies on, in the plan's labels and counts as far as they go."""
        names = {m.id: m.id for m in self.matching.built.members}
        names |= {pair.built.id: pair.plan.id for pair in self.matching.pairs}
        id = match.built.id
        laps = [j if j.a == id else flipped(j) for j in self.matching.built.joints if id in (j.a, j.b)]
        return (
            _laps_words((names[j.b], j.a_hole, self._plan_hole(j.b, j.b_hole)) for j in laps) or "no member"
        )

    def _planned_on(self, match: Pair | Missing) -> str:
        laps = _laps_words((j.b, j.a_hole, j.b_hole) for j in self.laps[match.plan.id])
        return f"on {laps}" if laps else "on no member"

    def _plan_hole(self, id: str, hole: int) -> int:
        """A hole of a built member in the plan's count, where the member runs the other way in the plan."""
        planned = next((pair.plan for pair in self.matching.pairs if pair.built.id == id), None)
        built = self.matching.built.member(id)
        if planned is None or np.dot(built.direction, planned.direction) > -0.5:
            return hole
        return built.holes - 1 - hole

    def missing(self, match: Missing) -> str:
        """A member that was not built."""
        name = f"{match.plan.id} ({plural(match.plan.holes, 'hole')})"
        return f"{name} is missing; plan {self._planned_on(match)}."

    def out_of_sight(self, match: Missing) -> str:
        """A member that was not found where no photo shows its place."""
        name = f"{match.plan.id} ({plural(match.plan.holes, 'hole')})"
        return f"{name} was not found, but no photo would show it well; plan {self._planned_on(match)}."

    def extra(self, match: Extra) -> str:
        """A member that is not in the plan."""
        return (
            f"A member that is not in the plan ({match.built.id} in the built frame, "
            f"{plural(match.built.holes, 'hole')}) lies on {self._lies_on(match)}."
        )

    def may_be_longer(self, pair: Pair) -> str:
        """A member that is shorter than planned where its end is out of sight."""
        seen = f"{pair.built.holes} of its {plural(pair.plan.holes, 'hole')} were seen"
        return f"{self._name(pair)}: {seen}; the others may be out of sight."

    def width(self, pair: Pair) -> str:
        """A member of another width."""
        return f"{self._name(pair)} is {pair.built.width:.3g} pitches wide, plan {pair.plan.width:.3g}."

    def unsure(self, pair: Pair) -> str:
        """A member that agrees as far as the reading is right."""
        return f"{self._name(pair)} agrees, but its reading is only {percent(pair.built.confidence)} sure."

    def end(self, pair: Pair, which: int, end: End) -> str:
        """An end that was out of sight."""
        more = f"; up to {plural(end.extra, 'hole')} more may be there" if end.extra else ""
        out = _OUT_OF_SIGHT[end.state]
        return f"{self._name(pair)}: the end {self._end_words(pair, which)} was {out}{more}."

    def bolt_missing(self, joint: Joint, said: bool = False) -> str:
        """A planned bolt that is not there; `said`: by a person's word."""
        return f"Bolt missing at {lap_words(joint)}{', as a person says' if said else ''}."

    def bolt_said(self, joint: Joint) -> str:
        """A planned bolt that no photo shows and of which a person says that it is there."""
        return f"Bolt at {lap_words(joint)}: there, as a person says; not seen."

    def bolt_unseen(self, joint: Joint) -> str:
        """A planned bolt that no photo shows."""
        return f"Bolt at {lap_words(joint)}: not seen."

    def bolt_extra(self, joint: Joint, seen: bool = True) -> str:
        """A bolt in a lap that is planned without one; not `seen`: by a person's word."""
        said = "" if seen else ", as a person says"
        return f"A bolt that is not in the plan is at {lap_words(joint)}{said}."

    def bolt_not_planned(self, joint: Joint, plan_of: Mapping[str, str]) -> str:
        """A bolt in a built lap that the plan has not; `plan_of` gives each built id the plan's."""
        holes = [
            (plan_of[id], self._plan_hole(id, hole))
            for id, hole in ((joint.a, joint.a_hole), (joint.b, joint.b_hole))
        ]
        said = "" if joint.bolt == "seen" else ", as a person says"
        return f"A bolt that is not in the plan is at {holes_words(holes)}{said}."


def _laps_words(laps: Iterable[tuple[str, int, int]]) -> str:
    """'D (its hole 4 on hole 6)' for each lap: the other member, the own hole, and the hole of the other."""
    return listed(f"{other} (its hole {own + 1} on hole {hole + 1})" for other, own, hole in laps)
