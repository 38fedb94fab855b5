"""Whether what an audit states of a built frame is so, read from its sentences.

It knows nothing of how the audit works.  Two holes are on one another where their centres are half the two
widths apart, straight across both members; ends are compared as they lie.  What a remedy says is
`tests.workshop.audit.interpreter`'s.
"""

import re

import numpy as np

from tests.workshop.audit.interpreter import HOLE_PLAY, NUMBERS, sides_of

TOO = {"high": "up", "low": "down"}
ENDS = {"upper": "up", "lower": "down"}
LAPS = re.compile(r"(\w+) \(its hole (\d+) on hole (\d+)\)")


def untrue(result, plan):
    """Sentences of the audit that are not so, or that nothing here can read."""
    facts = Facts(result, plan)
    return [d.text for d in (*result.differences, *result.not_checked) if not facts.hold(d.text)]


class Facts:
    """The plan's members and the built ones by the plan's labels, counted the plan's way where parallel."""

    def __init__(self, result, plan):
        self.plan, self.ways = {m.id: m for m in plan.members}, sides_of(plan)
        self.names = result.names
        label = {own: planned for planned, own in result.names.items()}
        self.built = {label.get(m.id, m.id): m for m in result.laid.members}
        self.joints = {
            frozenset(((label.get(j.a, j.a), j.a_hole), (label.get(j.b, j.b), j.b_hole))): j.bolt
            for j in result.laid.joints
        }
        self.mirrored = result.mirrored

    def against(self, id):
        """Whether the built member is counted from the other end than the plan's."""
        planned = self.plan.get(id)
        return planned is not None and np.dot(planned.direction, self.built[id].direction) < -0.9

    def built_hole(self, id, hole):
        """Centre of a hole of a built member, counted the plan's way, (3,)."""
        m = self.built[id]
        return m.hole_centre(m.holes - hole if self.against(id) else hole - 1)

    def hold(self, text):
        """Whether one difference's sentence is so."""
        named = re.findall(r"(\w+) \((?:\d+ holes?; )?(\w+) in the built frame\)", text)
        if any(self.names[planned] != own for planned, own in named):
            return False
        text = re.sub(r"(;| \() ?\w+ in the built frame\)", lambda m: ")" if m[1] == ";" else "", text)
        for pattern, check in (
            (
                r"Member (\w+): (\d+) holes?, plan (\d+); the end at (.*), is (\d+) holes? too (\w+)\.",
                self.end,
            ),
            (r"Member (\w+): (\d+) holes?, plan (\d+), and sits (.*)\.", self.both),
            (r"(\w+) \((\d+) holes?\) is elsewhere: it lies on (.*), plan on (.*)\.", self.elsewhere),
            (r"(.*) sit (.*) together\.", self.together),
            (r"(.*) are elsewhere together: .*turned against the rest\.", self.turned),
            (r"(\w+) sits (.*)\.", self.sits),
            (r"(\w+) and (\w+) are exchanged: (.*)\.", self.exchanged),
            (r"(\w+) \((\d+) holes?\) is missing; plan on (.*)\.", self.missing),
            (
                r"A member that is not in the plan \((\w+) in the built frame, (\d+) holes?\) lies on (.*)\.",
                self.extra,
            ),
            (r"Bolt missing at hole (\d+) of (\w+) on hole (\d+) of (\w+)\.", self.bolt_missing),
            (r"The frame is built as the mirror image of the plan.*\.", self.mirror),
        ):
            found = re.fullmatch(pattern, text)
            if found:
                return bool(check(*found.groups()))
        return False

    def holes(self, id, built, planned):
        return self.built[id].holes == int(built) and self.plan[id].holes == int(planned)

    def shift(self, id):
        """How far hole 1 of the built member is off the planned one, (3,)."""
        return self.built_hole(id, 1) - self.plan[id].first

    def end(self, id, built, planned, where, count, too):
        hole, side = re.fullmatch(r"hole (\d+), the (\w+) one", where).groups()
        out = np.array(self.plan[id].direction) * (-1 if hole == "1" else 1)
        other = self.plan[id].holes if hole == "1" else 1
        kept = self.built_hole(id, self.built[id].holes if hole == "1" else 1)
        return (
            self.holes(id, built, planned)
            and int(built) - int(planned) == int(count) * {"long": 1, "short": -1}[too]
            and out @ self.ways[ENDS.get(side, side)] > 0.5
            and near(kept, self.plan[id].hole_centre(other - 1))
        )

    def both(self, id, built, planned, sits):
        return self.holes(id, built, planned) and self.sits(id, sits, across=True)

    def sits(self, id, text, across=False):
        """'one hole too low on both posts (A and B) and no longer lies on D'."""
        far, lost = re.fullmatch(r"(.*?)(?: and no longer lies on (.*))?", text).groups()
        far, on = re.fullmatch(r"(.*?)(?: on (.*))?", far).groups()
        off = self.shift(id)
        if across:
            d = np.array(self.plan[id].direction)
            middle = (off + self.built_hole(id, self.built[id].holes) - self.plan[id].last) / 2
            aside = middle - d * (middle @ d)
            off = aside if np.abs(aside).max() > HOLE_PLAY else off
        return (
            near(off, self.offset(far))
            and all(self.touch(id, other) for other in ids(on))
            and not any(self.touch(id, other) for other in ids(lost))
        )

    def offset(self, text):
        total = np.zeros(3)
        for part in re.split(r", | and ", text):
            count, to = re.fullmatch(r"(\S+) (?:holes?|pitches) too (?:far to the )?(\w+)", part).groups()
            total = (
                total + (NUMBERS[count] if count in NUMBERS else float(count)) * self.ways[TOO.get(to, to)]
            )
        return total

    def together(self, names, far):
        return all(near(self.shift(id), self.offset(far)) for id in ids(names))

    def turned(self, names):
        """Joined as planned: each planned lap between two of them is there, by its holes from either end."""
        group = set(ids(names))
        for a in group:
            for b in group - {a}:
                if laps(self.plan[a], self.plan[b]) != laps(self.built[a], self.built[b]):
                    return False
        return True

    def elsewhere(self, id, holes, built, planned):
        return (
            self.built[id].holes == int(holes)
            and self.lies_on(self.built, id, built, self.built_hole)
            and self.planned_on(id, planned)
        )

    def planned_on(self, id, text):
        return self.lies_on(self.plan, id, text, lambda i, hole: self.plan[i].hole_centre(hole - 1))

    def lies_on(self, members, id, text, centre):
        """Whether holes lie on one another as the words have it, and on no member that they leave out."""
        named = [(other, int(own), int(hole)) for other, own, hole in LAPS.findall(text)]
        said = {other for other, _, _ in named}
        real = {m for m in members if m != id and laps(members[id], members[m])}
        return said == real and all(
            on(centre(id, own), members[id], centre(other, hole), members[other])
            for other, own, hole in named
        )

    def touch(self, id, other):
        return bool(laps(self.built[id], self.built[other]))

    def exchanged(self, one, other, text):
        lengths = re.findall(r"(\w+) has (\d+) holes?, plan (\d+)", text)
        if lengths:
            return all(self.holes(*found) for found in lengths)
        lie = re.findall(r"(\w+) \((\d+) holes?\) lies where (\w+) belongs", text)
        return len(lie) == 2 and all(
            self.built[id].holes == int(holes)
            and abs(np.dot(self.built[id].direction, self.plan[where].direction)) > 0.9
            and near(middle(self.built[id]) - middle(self.plan[where]), 0, self.half(id, where))
            for id, holes, where in lie
        )

    def half(self, id, where):
        return abs(self.built[id].holes - self.plan[where].holes) / 2 + HOLE_PLAY

    def missing(self, id, holes, planned):
        there = [m for m in self.built.values() if same_place(m, self.plan[id])]
        return not there and self.plan[id].holes == int(holes) and self.planned_on(id, planned)

    def extra(self, id, holes, built):
        there = [m for m in self.plan.values() if same_place(m, self.built[id])]
        return (
            not there
            and self.built[id].holes == int(holes)
            and (built == "no member" or self.lies_on(self.built, id, built, self.built_hole))
        )

    def bolt_missing(self, a_hole, a, b_hole, b):
        at = [(a, int(a_hole)), (b, int(b_hole))]
        if not on(*(x for id, h in at for x in (self.plan[id].hole_centre(h - 1), self.plan[id]))):
            return False
        place = {(id, self.built[id].holes - h if self.against(id) else h - 1) for id, h in at}
        return self.joints.get(frozenset(place)) in (None, "none")

    def mirror(self):
        return self.mirrored


def ids(text):
    """Labels of 'post A', 'both posts (A and B)', 'A, B or D'."""
    return re.findall(r"\b[A-Z]+\d*\b|\bx\d+\b", text or "")


def near(a, b, tol=HOLE_PLAY):
    return np.abs(np.asarray(a) - b).max() <= tol


def middle(m):
    return (np.array(m.first) + m.last) / 2


def same_place(a, b):
    ends = [np.array([m.first, m.last]) for m in (a, b)]
    return near(ends[0], ends[1]) or near(ends[0], ends[1][::-1])


def on(at, a, there, b):
    """Whether two holes' centres lie face to face."""
    apart = np.subtract(there, at)
    across = max(abs(apart @ np.array(m.direction)) for m in (a, b))
    return abs(np.linalg.norm(apart) - (a.width + b.width) / 2) < HOLE_PLAY and across < HOLE_PLAY


def laps(a, b):
    """Pairs of holes of two members that lie on one another, each counted from its member's middle."""
    return {
        (abs(2 * i - a.holes + 1), abs(2 * j - b.holes + 1))
        for i in range(a.holes)
        for j in range(b.holes)
        if on(a.hole_centre(i), a, b.hole_centre(j), b)
    }
