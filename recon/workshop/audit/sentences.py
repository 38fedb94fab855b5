"""The sentences of an audit: what a builder has to do about a member or a bolt."""

from __future__ import annotations

import numpy as np

from recon.frame.joints import find_joints
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import End, Frame, Joint, axis_of
from recon.workshop.audit.matching import Match, Pose, alike
from recon.workshop.confidence_text import percent
from recon.workshop.wording import lap_words, listed, plural, direction_words

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_OUT = {"hidden": "hidden", "cut": "beyond the photos' border"}


class Sayings:
    """Sentences about matches in a pose, in the plan's labels.  Built labels are added where they differ."""

    def __init__(self, pose: Pose, plan: Frame, z_up: bool):
        self.pose, self.plan, self.z_up = pose, plan, z_up
        self.match_of = {m.plan.id: m for m in pose.matches if m.plan}
        self.hosts: dict[str, list[Joint]] = {m.id: [] for m in plan.members}
        for j in plan.joints:
            self.hosts[j.a].append(j)
            self.hosts[j.b].append(j)

    @staticmethod
    def _name(match: Match, more: str = "") -> str:
        """'F', 'F (12 holes)', 'F (C in the built frame)'."""
        told = [more] if more else []
        if match.name not in (None, match.plan.id):
            told.append(f"{match.name} in the built frame")
        return match.plan.id + (f" ({'; '.join(told)})" if told else "")

    def member(self, match: Match) -> str:
        """A member whose length or place is not the planned one."""
        if match.kind == "length":
            return f"Member {self._length(match)}."
        if match.kind == "both":
            return f"Member {self._length(match)}, and {self._off(match)}."
        if match.kind == "shift":
            return f"{self._name(match)} {self._off(match)}."
        return (
            f"{self._name(match, plural(match.built.holes, 'hole'))} is elsewhere: it lies on "
            f"{self._lies_on(match)}, plan {self._planned_on(match)}."
        )

    def group(self, matches) -> str:
        """Members that are off by the same, or turned as a whole."""
        names = listed(map(self._name, matches))
        if alike(matches):
            ways = listed(self._steps(matches[0].start, False))
            return f"{names} sit {ways} together."
        return (
            f"{names} are elsewhere together: they hang together as planned, but are turned against the rest."
        )

    def _length(self, match: Match) -> str:
        text = f"{self._name(match)}: {plural(match.built.holes, 'hole')}, plan {match.plan.holes}"
        if match.kind == "length":
            at_start = np.abs(match.start).max() > MATCH_TOL
            text += f"; the end {self._end_words(match, 0 if at_start else 1)} is {self._too(match)}"
        return text

    def _too(self, match: Match) -> str:
        more = match.built.holes - match.plan.holes
        return f"{plural(abs(more), 'hole')} too {'long' if more > 0 else 'short'}"

    def _end_words(self, match: Match, which: int) -> str:
        """'at hole 1, the lower one'."""
        out = np.asarray(match.plan.direction, float) * (1 if which else -1)
        way = direction_words(out, self.z_up)
        words = {"up": "the upper one", "down": "the lower one"}.get(way, f"towards {way}")
        return f"at hole {match.plan.holes if which else 1}, {words},"

    def _off(self, match: Match) -> str:
        """'sits one hole too low on both posts (A and B) and no longer lies on D'."""
        off = (match.start + match.end) / 2 if match.kind == "both" else match.start
        if match.kind == "both":
            along = np.asarray(match.plan.direction, float)
            off = (
                off - along * (off @ along)
                if np.abs(off - along * (off @ along)).max() > MATCH_TOL
                else match.start
            )
        on, lost = self._hosts(match)
        rails = [id for id in on if self._goes_along(id, off)]
        words = listed(self._steps(off, bool(rails)))
        text = f"sits {words}"
        if rails:
            text += f" on {self._host_words(rails)}"
        if lost:
            text += f" and no longer lies on {listed(lost, 'or')}"
        return text

    def _steps(self, off, in_holes: bool) -> list[str]:
        """['one hole too low', '2.5 pitches too far along +x'].  Holes are counted where a member sits on a row of them."""
        words = []
        for k in np.argsort(-np.abs(off), kind="stable"):
            if abs(off[k]) > MATCH_TOL:
                count = self._count(abs(off[k]))
                way = direction_words(np.eye(3)[k] * np.sign(off[k]), self.z_up)
                words.append(
                    f"{count} " + {"up": "too high", "down": "too low"}.get(way, f"too far along {way}")
                )
        return words

    @staticmethod
    def _count(x: float) -> str:
        if abs(x - round(x)) < MATCH_TOL / 2:
            n = round(x)
            return f"{_NUMBERS[n] if n < len(_NUMBERS) else n} {'hole' if n == 1 else 'holes'}"
        return f"{x:.3g} pitches"

    def _hosts(self, match: Match) -> tuple[list[str], list[str]]:
        """Members that it lies on in the plan and still does, and those that it no longer lies on."""
        on, lost = [], []
        for j in self.hosts[match.plan.id]:
            other = j.b if j.a == match.plan.id else j.a
            host = self.match_of[other]
            if host.built is None or other in on + lost:
                continue
            (on if self._lap(match, host) else lost).append(other)
        return on, lost

    @staticmethod
    def _lap(one: Match, other: Match) -> bool:
        return bool(find_joints([one.built, other.built]))

    def _goes_along(self, id: str, off) -> bool:
        """Whether the member `id` runs the way of the offset, so that it is counted in its holes."""
        return abs(np.dot(self.match_of[id].plan.direction, off)) > MATCH_TOL

    def _host_words(self, ids) -> str:
        posts = self.z_up and all(axis_of(self.match_of[id].plan) == 2 for id in ids)
        if posts and len(ids) == 2:
            return f"both posts ({listed(ids)})"
        return (f"post{'s' if len(ids) > 1 else ''} " if posts else "") + listed(ids)

    def _lies_on(self, match: Match) -> str:
        names = {m.name: m.plan.id if m.plan else m.name for m in self.pose.matches if m.built}
        laps = []
        for j in self.pose.built.joints:
            if match.name in (j.a, j.b):
                other, own, hole = (
                    (j.b, j.a_hole, j.b_hole) if j.a == match.name else (j.a, j.b_hole, j.a_hole)
                )
                laps.append(f"{names[other]} (its hole {own + 1} on hole {self._plan_hole(other, hole) + 1})")
        return listed(laps) or "no member"

    def _plan_hole(self, name: str, hole: int) -> int:
        """A hole of a built member in the plan's count, where the member runs the other way in the plan."""
        match = next(m for m in self.pose.matches if m.name == name)
        raw = self.pose.built.member(name)
        if match.plan is None or np.dot(raw.direction, match.plan.direction) > -0.5:
            return hole
        return raw.holes - 1 - hole

    def _planned_on(self, match: Match) -> str:
        laps = []
        for j in self.hosts[match.plan.id]:
            other, own, hole = (
                (j.b, j.a_hole, j.b_hole) if j.a == match.plan.id else (j.a, j.b_hole, j.a_hole)
            )
            laps.append(f"{other} (its hole {own + 1} on hole {hole + 1})")
        return f"on {listed(laps)}" if laps else "on no member"

    def missing(self, match: Match) -> str:
        return f"{match.plan.id} ({plural(match.plan.holes, 'hole')}) is missing; plan {self._planned_on(match)}."

    def out_of_sight(self, match: Match) -> str:
        return (
            f"{match.plan.id} ({plural(match.plan.holes, 'hole')}) was not found, but no photo would show it well; plan "
            f"{self._planned_on(match)}."
        )

    def extra(self, match: Match) -> str:
        return (
            f"A member that the plan has not ({match.name} in the built frame, {plural(match.built.holes, 'hole')}) lies on "
            f"{self._lies_on(match)}."
        )

    def may_be_longer(self, match: Match) -> str:
        return (
            f"{self._name(match)}: {match.built.holes} of its {plural(match.plan.holes, 'hole')} were seen; the others may be "
            "out of sight."
        )

    def width(self, match: Match) -> str:
        return f"{self._name(match)} is {match.built.width:.3g} pitches wide, plan {match.plan.width:.3g}."

    def unsure(self, match: Match) -> str:
        return f"{self._name(match)} agrees, but its reading is only {percent(match.built.confidence)} sure."

    def end(self, match: Match, which: int, end: End) -> str:
        more = f"; up to {plural(end.extra, 'hole')} more may be there" if end.extra else ""
        return f"{self._name(match)}: the end {self._end_words(match, which)} was {_OUT[end.state]}{more}."

    def bolt_missing(self, joint: Joint) -> str:
        return f"Bolt missing at {lap_words(joint)}."

    def bolt_unseen(self, joint: Joint) -> str:
        return f"Bolt at {lap_words(joint)}: not seen."

    def bolt_extra(self, joint: Joint) -> str:
        return f"A bolt that the plan has not is at {lap_words(joint)}."

    def bolt_not_planned(self, joint: Joint, plan_of) -> str:
        return (
            f"A bolt that the plan has not is at hole {self._plan_hole(joint.a, joint.a_hole) + 1} of {plan_of[joint.a]} on "
            f"hole {self._plan_hole(joint.b, joint.b_hole) + 1} of {plan_of[joint.b]}."
        )
