"""Steps in which fittings are put on, checked by points that go their ways; ticks of fittings."""

from dataclasses import replace

import numpy as np
import pytest

from recon.bench.random_frames import hole_of, random_frame
from recon.bench.steps import faults
from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import bolt_spots, fitting_boxes
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, section_axes
from recon.geometry.boxes import OrientedBoxes
from recon.workshop.assembly.fitting_words import NO_WAY, ROLLING, SQUARE_FIRST
from recon.workshop.assembly.progress import Ticks, progress, step_items, through_of, tick, untick
from recon.workshop.assembly.record import AssemblyRecord, StepKey, StepNote, act_from_json, act_to_json
from recon.workshop.assembly.stage import Stage
from recon.workshop.assembly.steps import build_steps
from recon.workshop.drawing.vector import Text
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.hardware.fitting_bolts import bolts_to_buy
from recon.workshop.solids import member_boxes
from tests.workshop.carts import DOWN, X, cart

FRONT = (0.0, -1.0, 0.0)
SKIN = 0.06  # pitches that points stay inside, and that a box is smaller than it is
FAR = 40.0  # pitches that points go


def tunnel(plate_mm: float) -> Frame:
    """Rail A behind two posts with rail D before them; a bearing sits on A, where D leaves one pitch free."""
    members = (
        Member("A", (0.0, 0.0, 0.0), X, 14),
        Member("B", (1.0, -1.0, -2.0), (0.0, 0.0, 1.0), 5),
        Member("C", (12.0, -1.0, -2.0), (0.0, 0.0, 1.0), 5),
        Member("D", (0.0, -2.0, 0.0), X, 14),
    )
    bearing = Fitting("F1", "bearing", (("A", 6),), FRONT, (38, 30, plate_mm), plate_mm)
    return Frame(members, find_joints(members), 38.1, fittings=(bearing,))


def fit_steps(frame, **more):
    return [step for step in build_steps(frame, **more).steps if step.kind == "fit"]


def inside(points, boxes: OrientedBoxes, k: int) -> np.ndarray:
    local = (points - boxes.centre[k]) @ boxes.axes[k].T
    return (np.abs(local) < boxes.half[k] - SKIN).all(axis=1)


def points_of(centre, axes, half) -> np.ndarray:
    rows = [np.linspace(-h + SKIN, h - SKIN, max(2, int(h / 0.15))) for h in half]
    return centre + np.stack(np.meshgrid(*rows, indexing="ij"), axis=-1).reshape(-1, 3) @ axes


def meets(points, way, boxes, which) -> bool:
    """Whether points that go a way lie in one of the boxes somewhere on it."""
    ways = np.arange(0.0, FAR, 0.1)[:, None, None] * np.asarray(way, float)
    spots = (points[None] + ways).reshape(-1, 3)
    return any(inside(spots, boxes, k).any() for k in which)


def wrong_ways(frame, order) -> list[str]:
    """Fittings that meet a member on their way, and members that meet a fitting which is on before them."""
    boxes, plain = member_boxes(frame.members), fitting_boxes(frame)
    index = {m.id: k for k, m in enumerate(frame.members)}
    found = []
    for step in order.steps:
        if step.kind == "fit" and NO_WAY not in step.text:
            for id in step.fittings:
                own = points_of(*(getattr(plain[id], name) for name in ("centre", "axes", "half")))
                there = [index[m] for m in step.there]
                if meets(own[:: len(own) // 60 + 1], -np.array(step.direction), boxes, there):
                    found.append(f"{id} meets a member in step {step.number}")
        if step.kind == "join" and step.direction is not None:
            new = set(step.new) - set(step.laid)
            for f in frame.fittings:
                if f.id not in step.there_fittings or set(f.members) <= new:
                    continue
                box = OrientedBoxes(*(getattr(plain[f.id], n)[None] for n in ("centre", "axes", "half")))
                for id in new:
                    k = index[id]
                    own = points_of(boxes.centre[k], boxes.axes[k], boxes.half[k])
                    if meets(own[:: len(own) // 60 + 1], -np.array(step.direction), box, [0]):
                        found.append(f"{id} meets {f.id} in step {step.number}")
    return found


def with_feet(frame, seed) -> Frame:
    """A random frame with small feet in holes that no bolt takes, on faces that nothing covers."""
    rng = np.random.default_rng([seed, 5])
    taken = {hole for bolt in find_bolts(frame) for hole in bolt.through}
    boxes, made = member_boxes(frame.members), []
    for m in frame.members:
        at = (m.id, int(rng.integers(m.holes)))
        face = section_axes(m)[int(rng.integers(2))] * rng.choice([-1, 1])
        size = (32 * m.width, 32 * m.width, 12)
        foot = Fitting(f"F{len(made) + 1}", "foot", (at,), tuple(map(float, face)), size, 4.0)
        box = fitting_boxes(replace(frame, pitch_mm=40.0, fittings=(foot,)))[foot.id]
        own = points_of(box.centre, box.axes, box.half)
        if at not in taken and not any(inside(own, boxes, k).any() for k in range(len(boxes))):
            made.append(foot)
    return replace(frame, pitch_mm=40.0, fittings=tuple(made))


def test_a_cart_gets_its_castors_while_it_stands_on_its_head_and_its_board_last():
    order = build_steps(cart())
    castors, board = fit_steps(cart())
    assert castors.fittings == ("F1", "F2", "F3", "F4") and castors.up == DOWN
    assert castors.text.startswith(
        "Put on castors F1, F2, F3 and F4 (castor 80), on the bottom side, with 8 bolts, heads on top: F1 at "
        "holes 3 and 5 of C;"
    )
    assert castors.text.endswith(ROLLING) and "blocks" not in castors.text
    kinds = [step.kind for step in order.steps]
    assert kinds == ["join", "join", "fit", "turn", "fit"]
    assert board.fittings == ("F5",) and board.there_fittings == castors.fittings
    assert board.text == (
        f"{SQUARE_FIRST} Put on board F5 at holes 5 and 16 of A and holes 5 and 16 of B, on the top side, "
        "with 4 bolts, heads on top."
    )
    bare = build_steps(replace(cart(), fittings=()))
    assert [s.text for s in order.steps if s.kind != "fit"] == [s.text for s in bare.steps]
    assert order.finish == bare.finish


def test_every_bolt_of_a_fitting_goes_in_once():
    for frame in (cart(), tunnel(8.0), with_feet(random_frame(3, 6), 3)):
        steps = build_steps(frame, hole_of(frame)).steps
        own = [bolt for step in steps for bolt in step.bolts if bolt.fitting]
        assert sorted(map(through_of, own)) == sorted(
            through_of(bolt) for bolt in bolts_to_buy(frame)[0] if bolt.fitting
        )
        assert all(len(step.heads) == len(step.bolts) for step in steps)


def test_what_later_rails_would_shut_in_goes_on_before_them():
    (late,) = fit_steps(tunnel(8.0))
    assert set(late.there) == set("ABCD")  # a thin one is reached behind D
    thick = build_steps(tunnel(30.0))
    (early,) = [step for step in thick.steps if step.kind == "fit"]
    assert early.there == ("A",) and early.text.startswith("Before A comes in: put on bearing F1")
    rest = [step for step in thick.steps if step.number > early.number and step.kind == "join"]
    assert rest and all("F1" in s.there_fittings for s in rest if "A" in {*s.there, *s.new})
    assert wrong_ways(tunnel(30.0), thick) == []


@pytest.mark.parametrize("seed", range(2))
def test_no_fitting_meets_anything_on_its_way_and_nothing_meets_it(seed):
    frame = with_feet(random_frame(seed, 6), seed)
    order = build_steps(frame, hole_of(frame))
    assert frame.fittings and wrong_ways(frame, order) == [] and faults(frame, order, hole_of(frame)) == []
    put_on = [id for step in order.steps for id in step.fittings]
    assert sorted(put_on) == sorted(f.id for f in frame.fittings) or not order.steps


def test_what_reaches_below_a_standing_frame_says_how_high_to_set_it():
    post = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    foot = Fitting("F1", "foot", (("A", 0),), DOWN, (40, 40, 20), 5.0)
    (step,) = fit_steps(Frame((post,), pitch_mm=40.0, fittings=(foot,)))
    assert step.text.startswith(
        "Lay what is there on a side, or set it on blocks more than 20 mm (13/16 in) high."
    )
    (step,) = fit_steps(Frame((post,), fittings=(foot,)))  # its size is not known without a pitch
    assert step.text.startswith("Put on foot F1 at hole 1 of A, on the bottom side, with 1 bolt")


def test_pictures_of_fitting_steps_show_them_with_the_holes_of_their_bolts():
    stage = Stage(cart(), 0.25)
    castors, board = fit_steps(cart())
    texts = {item.text for item in stage.picture(castors).items if isinstance(item, Text)}
    assert {"F1", "F4", "C3", "D10"} <= texts and "F5" not in texts
    texts = {item.text for item in stage.picture(board).items if isinstance(item, Text)}
    assert {"F5", "A5", "B16", "F3"} <= texts
    bare = replace(cart(), pitch_mm=None)
    assert all(Stage(bare, 0.25).picture(step).items for step in build_steps(bare).steps)


def ticked(frame, record, change, **ticks):
    items = step_items(build_steps(frame))
    bolts = {through for item in items for through in item.bolts}
    return record.after(change(record, Ticks(**ticks), bolts, frame)), items


def test_fittings_and_their_bolts_are_ticked_and_outlive_changes_of_their_members():
    frame = cart()
    record, items = ticked(frame, AssemblyRecord(), tick, bolts=((("C", 2), ("F1", 0)),))
    found = progress(record, items, frame)
    assert found.fittings == {"F1"} and found.members == set() and not any(found.done)
    assert items[2].key == StepKey("join", ("F1", "F2", "F3", "F4")) and items[2].members == ()
    record, _ = ticked(frame, record, tick, fittings=items[2].fittings, bolts=items[2].bolts)
    assert progress(record, items, frame).done == (False, False, True, False, False)

    # C longer by 2 at its hole 1: holes of the castors are counted on, and they stay where they are
    longer = [replace(m, first=(2.0, -3.0, 0.0), holes=14) if m.id == "C" else m for m in frame.members]
    fittings = [
        replace(f, holes=tuple((id, k + 2 * (id == "C")) for id, k in f.holes)) for f in frame.fittings
    ]
    grown = replace(frame, members=tuple(longer), joints=find_joints(longer), fittings=tuple(fittings))
    found = progress(record, step_items(build_steps(grown)), grown)
    assert found.fittings == {"F1", "F2", "F3", "F4"} and len(found.bolts) == 8

    moved = replace(
        frame, fittings=(replace(frame.fittings[0], holes=(("C", 4), ("C", 6))), *frame.fittings[2:])
    )
    found = progress(record, step_items(build_steps(moved)), moved)
    assert [c.text for c in found.changed if c.fitting] == [
        "F1 went on at holes 3 and 5 of C and is at holes 5 and 7 of C now: move it."
    ]
    texts = [c.text for c in found.changed]
    assert "F2 went on and is no longer in the frame: take it off." in texts
    assert "A bolt went in, F1 on hole 3 of C, where there is none now: take it out." in texts

    record, _ = ticked(frame, record, untick, fittings=("F1",))
    found = progress(record, items, frame)
    assert found.fittings == {"F2", "F3", "F4"} and len(found.bolts) == 6


def test_acts_on_fittings_are_kept_in_kinds_that_older_programs_pass_over():
    frame = cart()
    items = step_items(build_steps(frame))
    act = tick(
        AssemblyRecord(),
        Ticks(fittings=("F1",), bolts=items[2].bolts[:1], members=("A",)),
        {through for item in items for through in item.bolts},
        frame,
    )
    kept = act_to_json(act)
    assert sorted({entry["kind"] for entry in kept["put"]}) == ["fitting", "fitting bolt", "member"]
    assert act_from_json(kept, act.words) == act
    # a note at such a step has the key of a step of a kind that they know
    assert all(item.key.kind in ("join", "turn") for item in items)
    assert StepNote(1, items[2].key, "Tight").step.members == ("F1", "F2", "F3", "F4")


def test_the_faces_of_a_fitting_lie_on_its_members():
    frame = cart()
    members = {m.id: m for m in frame.members}
    for f in frame.fittings:
        level = bolt_spots(f, members) @ np.asarray(f.face)
        assert np.ptp(level) < 1e-9
