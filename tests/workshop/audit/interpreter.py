"""Carries out what an audit says, by its words alone, on a built frame: does that give the plan?

It knows nothing of how the audit works: it reads sentences.  Of the plan it looks at nothing but which way
each member is counted and which side is the front, as the drawings show it.
`python -m tests.workshop.audit.interpreter [FRAMES]` measures it on random frames with one, two and three
changes at once, and whether what is stated of the built frame is so (`tests.workshop.audit.statements`).
"""

import re
import sys
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.optimize import linear_sum_assignment

from recon.bench.audit import changed, disguised, seen
from recon.bench.random_frames import random_frame
from recon.frame.joints import collisions
from recon.frame.model import bounds
from recon.workshop.audit.differences import audit_frame

NUMBERS = {
    w: n
    for n, w in enumerate(
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]
    )
}
AXES = {s + c: (1 if s == "+" else -1) * np.eye(3)["xyz".index(c)] for c in "xyz" for s in "+-"}
LAP = re.compile(r"its hole (\d+) on hole (\d+) of (\w+), (on top of it|below it|on its (\w+) side)")
HOLE_PLAY = 0.05  # pitches: a bolt's clearance in its hole lets so much be; 8 mm in 9.5 mm at 38.1 mm is 0.04
SIDES = ("right", "left", "back", "front", "up", "down")
CHANGES = ("length", "shift", "missing", "extra", "moved", "exchanged", "mirrored", "bolt")


def sides_of(plan):
    """Ways by name, as who stands before the plan's longer level side has them."""
    low, high = (np.array(x).T for x in zip(*map(bounds, plan.members)))
    size = high.max(axis=1) - low.min(axis=1)
    right = AXES["+x"] if size[0] > size[1] - 1e-6 else AXES["+y"]
    back = np.cross([0, 0, 1], right)
    return AXES | dict(zip(SIDES, (right, -right, back, -back, AXES["+z"], AXES["-z"])))


class Workshop:
    """Members by label: hole 1, direction in which they are counted, holes and width."""

    def __init__(self, built, names, counted, ways):
        self.ways = ways
        label = {own: planned for planned, own in names.items()}
        self.members = {}
        for m in built.members:
            id, first, d = label.get(m.id, m.id), np.array(m.first, float), np.array(m.direction, float)
            if id in counted and np.dot(d, counted[id]) < -0.5:
                first, d = first + (m.holes - 1) * d, -d
            self.members[id] = [first, d, m.holes, m.width]
        self.waiting = []

    def way(self, text):
        """'to the right', 'up' as a unit vector."""
        return self.ways[text.split()[-1]]

    def offset(self, text):
        """'one hole up and two holes to the right' as a vector."""
        total = np.zeros(3)
        for part in re.split(r", | and ", text):
            count, to = re.fullmatch(r"(\S+) (?:holes? |pitches )?(?:towards |to the )?(\S+)", part).groups()
            total = total + (NUMBERS[count] if count in NUMBERS else float(count)) * self.ways[to]
        return total

    def do(self, text):
        """Carry out one remedy."""
        for pattern, act in (
            (
                r"Move ((?:[\w, ]|and)+?) ((?:\S+) (?:hole|pitch).*?)(?:, to the other side of .*)?\.",
                self.move,
            ),
            (r"Cut (\w+) off after its hole (\d+)\.", self.cut_end),
            (r"Cut (\d+) holes? off (\w+) at its hole 1\.", self.cut_start),
            (
                r"Put one of (\d+) holes? in place of (\w+): (\d+) holes? longer at its hole (\d+)\.",
                self.longer,
            ),
            (r"Put one of (\d+) holes? in place of (\w+): (it runs .*)\.", self.replace),
            (r"Move (\w+): (it runs .*)\.", self.put),
            (r"Add (\w+), (\d+) holes?: (it runs .*)\.", self.add),
            (r"Take out (\w+)\.", self.take_out),
            (r"Exchange (\w+) and (\w+): (.*); (.*)\.", self.exchange),
        ):
            found = re.fullmatch(pattern, text)
            if found:
                act(*found.groups())
                return
        if not re.fullmatch(
            r"Put a bolt through .*\.|Take it out\.|Take it apart and build its mirror.*", text
        ):
            raise AssertionError(f"cannot be carried out: {text}")

    def move(self, ids, by):
        for id in re.split(r", | and ", ids):
            self.members[id][0] = self.members[id][0] + self.offset(by)

    def cut_end(self, id, holes):
        self.members[id][2] = int(holes)

    def cut_start(self, count, id):
        m = self.members[id]
        m[0], m[2] = m[0] + int(count) * m[1], m[2] - int(count)

    def longer(self, holes, id, more, where):
        m = self.members[id]
        assert int(holes) == m[2] + int(more)
        if where == "1":
            m[0] = m[0] - int(more) * m[1]
        else:
            assert where == holes
        m[2] = int(holes)

    def replace(self, holes, id, place):
        self.members[id][2] = int(holes)
        self.put(id, place)

    def put(self, id, place):
        self.waiting.append((id, place))

    def add(self, id, holes, place):
        width = next(iter(self.members.values()))[3]
        self.members[id] = [np.zeros(3), np.zeros(3), int(holes), width]
        self.put(id, place)

    def take_out(self, id):
        del self.members[id]

    def exchange(self, one, other, *places):
        for id, place in zip((one, other), places):
            holes, where, rest = re.fullmatch(
                r"the (\d+)-hole member goes where (\w+) belongs, (.*)", place
            ).groups()
            assert where == id
            m = self.members[id]
            if rest == "the last hole where it is now":
                m[0] = m[0] + (m[2] - int(holes)) * m[1]
            elif rest != "hole 1 where it is now":
                self.put(id, rest)
            m[2] = int(holes)

    def place_all(self):
        """Lay the members that are put on others, each when what it lies on is in its place."""
        while self.waiting:
            moving = {id for id, _ in self.waiting}
            ready = [(id, p) for id, p in self.waiting if not set(re.findall(r" of (\w+)", p)) & moving]
            assert ready, f"in a circle: {self.waiting}"
            for id, place in ready:
                self._place(id, place)
                self.waiting.remove((id, place))

    def _place(self, id, place):
        """Two laps give a member at an angle its way; its sides are checked against the words."""
        m = self.members[id]
        to = re.match(r"it runs (?:at an angle, )?(.*?), its hole ", place)[1]
        laps = [self._host_place(id, found) for found in LAP.findall(place)]
        if "at an angle" not in place:
            m[1] = self.way(to)
        elif len(laps) > 1:
            (one, at), (other, there) = laps
            m[1] = (there - at) / np.linalg.norm(there - at) * np.sign(other - one)
            assert abs(np.linalg.norm(there - at) - abs(other - one)) < HOLE_PLAY
            assert all(m[1] @ self.ways[way.split()[-1]] > 0.01 for way in re.split(r", | and ", to)), place
        else:
            last, by = re.fullmatch(r"hole (\d+) (.*) of its hole 1", to).groups()
            assert int(last) == m[2]
            m[1] = self.offset(by) / np.linalg.norm(self.offset(by))
        if laps:
            m[0] = laps[0][1] - (laps[0][0] - 1) * m[1]
            return
        by, host = re.search(r"its hole 1 (.*) of hole 1 of (\w+)$", place).groups()
        m[0] = self.members[host][0] + self.offset(by)

    def _host_place(self, id, lap):
        """A hole of a member, and where it comes to lie on another member's hole."""
        own, hole, host, where, side = lap
        h = self.members[host]
        out = self.ways[side or ("up" if where == "on top of it" else "down")]
        return int(own), h[0] + (int(hole) - 1) * h[1] + (h[3] + self.members[id][3]) / 2 * out

    def gives(self, plan):
        """Whether each member lies where one of the plan does, whichever way it is counted."""
        if len(self.members) != len(plan.members):
            return False
        there = [ends(first, d, holes) for first, d, holes, _ in self.members.values()]
        wanted = [ends(m.first, m.direction, m.holes) for m in plan.members]
        apart = np.array(
            [[min(np.abs(a - b).max(), np.abs(a - b[::-1]).max()) for b in wanted] for a in there]
        )
        pairs = linear_sum_assignment(apart > HOLE_PLAY)
        return bool((apart[pairs] <= HOLE_PLAY).all())


def ends(first, d, holes):
    """The centres of the first and the last hole, (2, 3)."""
    first = np.asarray(first, float)
    return np.array([first, first + (holes - 1) * np.asarray(d, float)])


def carried_out(built, plan):
    """Whether what the audit says, carried out, gives the plan; and what it said."""
    result = audit_frame(built, plan)
    counted = {m.id: np.array(m.direction, float) for m in plan.members}
    shop = Workshop(result.laid, result.names, counted, sides_of(plan))
    said = [d.full_text for d in result.differences]
    for difference in result.differences:
        for sentence in sentences(difference.remedy):
            shop.do(sentence)
    shop.place_all()
    return shop.gives(plan), said


def sentences(remedy):
    return [s if s.endswith(".") else s + "." for s in re.split(r"(?<=\.) (?=[A-Z])", remedy) if s]


@cache
def several(seed, count):
    """A random frame and the same with so many random changes, as another reading gives it."""
    rng = np.random.default_rng([seed, count])
    plan = seen(random_frame(seed))
    built, made = plan, []
    for change in rng.choice(CHANGES, 20):
        if len(made) == count:
            break
        if change in made:
            continue
        one = changed(built, str(change), rng)
        if (
            one
            and not collisions(one[0].members)
            and len({m.id for m in one[0].members}) == len(one[0].members)
        ):
            built, made = one[0], [*made, str(change)]
    return disguised(replace(built), rng), plan, made


def main(frames):
    from tests.workshop.audit.statements import untrue  # which takes sides from here

    for count in (1, 2, 3):
        wrong, false, stated = [], [], 0
        for seed in range(frames):
            built, plan, made = several(seed, count)
            try:
                good, said = carried_out(built, plan)
            except (AssertionError, KeyError, AttributeError) as error:
                good, said = False, [repr(error)]
            if not good:
                wrong.append((seed, made, said))
            stated += len(said)
            false += [(seed, made, [text]) for text in untrue(audit_frame(built, plan), plan)]
        print(f"{count} changes: {frames - len(wrong)} of {frames} give the plan")
        print(f"{count} changes: {stated - len(false)} of {stated} differences are stated as they are")
        for seed, made, said in (*wrong[:8], *false[:8]):
            print(" ", seed, made, *said, sep="\n    ")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
