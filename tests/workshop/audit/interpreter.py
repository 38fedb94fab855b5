"""Carries out what an audit says, by its words alone, on a built frame: does that give the plan?

It knows nothing of how the audit works: it reads sentences.  Of the plan it looks at nothing but which way
each member is counted and which side is the front, as the drawings show it.
`python -m tests.workshop.audit.interpreter [FRAMES]` measures it on random frames with one, two and three
changes at once.
"""

import re
import sys
from collections import Counter
from dataclasses import replace

import numpy as np

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
        """'to the right', 'up', '0.6 to the right and 0.8 up for each hole' as a unit vector."""
        if text.endswith(" for each hole"):
            v = self.offset(text.removesuffix(" for each hole"))
            return v / np.linalg.norm(v)
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
        m = self.members[id]
        to = re.match(r"it runs (.*?), its hole ", place)
        m[1] = self.way(to[1])
        lap = re.compile(r"its hole (\d+) on hole (\d+) of (\w+), (on top of it|below it|on its (\w+) side)")
        found = lap.search(place)
        if found:
            own, hole, host, where, side = found.groups()
            h = self.members[host]
            out = self.ways[side or ("up" if where == "on top of it" else "down")]
            at = h[0] + (int(hole) - 1) * h[1] + (h[3] + m[3]) / 2 * out
            m[0] = at - (int(own) - 1) * m[1]
            return
        by, host = re.search(r"its hole 1 (.*) of hole 1 of (\w+)$", place).groups()
        m[0] = self.members[host][0] + self.offset(by)

    def key(self):
        return places(zip(*[(m[0], m[1], m[2]) for m in self.members.values()]))


def places(columns):
    """Where members lie, whichever way they are counted."""
    found = Counter()
    for first, d, holes in zip(*columns):
        ends = [np.asarray(first, float), np.asarray(first, float) + (holes - 1) * np.asarray(d, float)]
        found[tuple(sorted(tuple(np.round(e, 2) + 0.0) for e in ends)), holes] += 1
    return found


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
    return shop.key() == places(zip(*[(m.first, m.direction, m.holes) for m in plan.members])), said


def sentences(remedy):
    return [s if s.endswith(".") else s + "." for s in re.split(r"(?<=\.) (?=[A-Z])", remedy) if s]


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
    for count in (1, 2, 3):
        wrong = []
        for seed in range(frames):
            built, plan, made = several(seed, count)
            try:
                good, said = carried_out(built, plan)
            except (AssertionError, KeyError, AttributeError) as error:
                good, said = False, [repr(error)]
            if not good:
                wrong.append((seed, made, said))
        print(f"{count} changes: {frames - len(wrong)} of {frames} give the plan")
        for seed, made, said in wrong[:8]:
            print(" ", seed, made, *said, sep="\n    ")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
