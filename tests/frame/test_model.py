import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.frame.files import frame_from_dict, frame_to_dict
from recon.frame.model import (
    Frame,
    Member,
    StockUse,
    axis_of,
    bounds,
    label,
    member_cells,
    relabel,
    rename,
    reversed_member,
    section_axes,
)
from tests.growing import grow_frame

DIRECTIONS = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda d: np.linalg.norm(d) > 0.1)


def unit(d):
    return tuple(np.asarray(d, float) / np.linalg.norm(d))


def test_labels_run_a_to_z_then_aa():
    assert [label(n) for n in (0, 1, 25, 26, 27, 51, 52, 701, 702)] == [
        "A",
        "B",
        "Z",
        "AA",
        "AB",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]


def test_labels_are_distinct():
    assert len({label(n) for n in range(20000)}) == 20000


def test_last_hole_lies_holes_minus_one_pitches_from_the_first():
    member = Member("A", (1.0, 2.0, 3.0), (0.6, 0.8, 0.0), 6)
    assert member.last == pytest.approx((4.0, 6.0, 3.0))
    assert member.length == 6
    assert member.hole_centres() == pytest.approx(np.array([member.hole_centre(k) for k in range(6)]))


def test_a_member_ends_half_a_pitch_past_its_holes():
    low, high = bounds(Member("A", (0.0, 0.0, 0.0), (0.0, -1.0, 0.0), 4, width=1.5))
    assert low == pytest.approx((-0.75, -3.5, -0.75))
    assert high == pytest.approx((0.75, 0.5, 0.75))


@given(DIRECTIONS)
def test_faces_are_square_to_the_member_and_to_each_other(d):
    member = Member("A", (0.0, 0.0, 0.0), unit(d), 5)
    frame = np.array([member.direction, *section_axes(member)])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(frame) == pytest.approx(1)


@given(st.floats(-3, 3), st.sampled_from(list(np.eye(3))))
def test_a_brace_in_a_plane_of_the_lattice_has_faces_parallel_to_it(angle, axis):
    flat = np.roll([np.cos(angle), np.sin(angle), 0.0], np.flatnonzero(axis)[0] + 1)
    member = Member("A", (0.0, 0.0, 0.0), tuple(flat), 5)
    normals = np.array(section_axes(member))
    assert np.abs(normals @ axis).max() == pytest.approx(1)


def test_axis_of_a_brace_is_none():
    assert [axis_of(Member("A", (0.0, 0.0, 0.0), d, 3)) for d in ((0, -1, 0), (0, 0, 1), (0.6, 0.8, 0))] == [
        1,
        2,
        None,
    ]


def test_cells_are_the_nearest_whole_pitches():
    assert member_cells(Member("A", (0.1, -1.0, 2.9), (1.0, 0.0, 0.0), 3)).tolist() == [
        [0, -1, 3],
        [1, -1, 3],
        [2, -1, 3],
    ]


def test_a_reversed_member_has_the_same_holes():
    member = Member("A", (1.0, 2.0, 3.0), (0.0, 0.0, 1.0), 6)
    assert reversed_member(member).hole_centres()[::-1] == pytest.approx(member.hole_centres())
    assert reversed_member(reversed_member(member)) == member


@settings(max_examples=30)
@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_labels_depend_on_neither_former_order_nor_former_labels(seed, random):
    frame = grow_frame(seed)
    members = list(frame.members)
    random.shuffle(members)
    mixed = rename(
        Frame(tuple(members), frame.joints, frame.pitch_mm), {m.id: f"m{i}" for i, m in enumerate(members)}
    )
    assert relabel(mixed) == relabel(frame)


def test_uprights_are_labelled_first_then_x_then_y_then_braces():
    frame = Frame(
        (
            Member("p", (0.0, 0, 0), (0.6, 0, 0.8), 5),
            Member("q", (0.0, 0, 0), (0, 1.0, 0), 5),
            Member("r", (0.0, 0, 0), (-1.0, 0, 0), 5),
            Member("s", (0.0, 0, 0), (0, 0, 1.0), 5),
        )
    )
    assert [axis_of(m) for m in relabel(frame).members] == [2, 0, 1, None]
    assert [m.id for m in relabel(frame).members] == ["A", "B", "C", "D"]


def test_members_that_name_no_stock_are_of_the_frames():
    posts = Member("A", (0, 0, 0), (0, 0, 1), 5), Member("B", (5, 0, 0), (0, 0, 1), 5, stock="steel-38")
    assert [m.stock for m in Frame(posts, stock=StockUse("softwood-38")).members] == [
        "softwood-38",
        "steel-38",
    ]
    assert [m.stock for m in Frame(posts, stock=StockUse("")).members] == [None, "steel-38"]
    written = frame_to_dict(Frame(posts, pitch_mm=38.1))  # says of A that its stock is not known
    read = frame_from_dict({**written, "stock": {"id": "softwood-38", "how": "given", "confidence": 1.0}})
    assert [m.stock for m in read.members] == ["softwood-38", "steel-38"]
