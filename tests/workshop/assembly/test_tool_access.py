"""Whether a bolt can be put in and turned: each way in which it cannot, on the smallest frame that has it."""

import numpy as np
import pytest

from recon.workshop.assembly.disassembly import AssemblyModel
from recon.workshop.assembly.tool_access import HANDLE, in_the_way, reachable
from recon.workshop.solids import BOLT_PER_HOLE, HOLE
from tests.workshop.frames import X, Y, Z, framed, member

LAP = (member("A", (0, 0, 0), Z, 9), member("B", (0, -1, 4), X, 9))
BEHIND, BEFORE = (
    member("C", (-4, 2, 4), X, 9),
    member("D", (0, -3, 0), Z, 9),
)  # a pitch off the lap, on either side


def ready(*others, without=()):
    """Whether the bolt through A and B can be put in and turned with these, and what is in its way."""
    frame = framed(*LAP, *others)
    model = AssemblyModel(frame)
    b = next(i for i, bolt in enumerate(model.bolts) if {id for id, _ in bolt.through} == {"A", "B"})
    there = model.present([k for k, m in enumerate(frame.members) if m.id not in without], without=[b])
    names = [frame.members[k].id for k in in_the_way(model.access(b), there) if k < len(frame.members)]
    return reachable(model.access(b), there), names


def test_a_lap_by_itself_can_be_bolted():
    assert ready()[0]


def test_a_bolt_needs_its_length_on_one_side():
    assert ready(BEHIND)[0] and ready(BEFORE)[0]
    assert ready(BEHIND, BEFORE) == (False, ["C", "D"])
    assert ready(BEHIND, BEFORE, without="D")[0]


def test_a_nut_needs_its_room_on_the_other_side():
    # V lies on the back of A where the nut would be; the way in from the front is free.
    assert ready(member("V", (0, 1, 3), Z, 3)) == (False, ["V"])


# Two members on the back of A above and below the bolt: between them there is room along x alone.
CHANNEL = member("P", (-4, 1, 5), X, 9), member("Q", (-4, 1, 3), X, 9)


def test_a_spanner_that_cannot_swing_may_still_hold():
    assert ready(*CHANNEL)[0]


def test_a_bolt_that_can_be_held_on_neither_side_but_one_cannot_be_turned():
    # The channel is shut on both sides of the nut as well.
    shut = member("S", (-1, 1, 4), Y, 3), member("T", (1, 1, 4), Y, 3)
    assert not ready(*CHANNEL, *shut)[0]
    assert ready(*CHANNEL, shut[0])[0]


def test_a_bolt_that_swings_on_neither_side_cannot_be_turned():
    front = member("R", (-1, -2, 5), X, 10), member("U", (-1, -2, 3), X, 10)
    assert ready(*CHANNEL)[0] and ready(*front)[0]
    assert not ready(*CHANNEL, *front)[0]


def test_a_handle_is_as_long_as_assumed():
    assert pytest.approx(4.03, abs=0.01) == HANDLE * BOLT_PER_HOLE * HOLE  # pitches: 154 mm at 38.1 mm
    far = [
        member(f"W{k}", (x, y, z), d, 30)
        for k, (x, y, z, d) in enumerate(((-6, 1, -10, Z), (6, 1, -10, Z), (-15, 1, -2, X), (-15, 1, 10, X)))
    ]
    assert ready(*far)[0]
    model = AssemblyModel(framed(*LAP, *far))
    assert np.isin([2, 3, 4, 5], model.access(0).near).sum() == 0
