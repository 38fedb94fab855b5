"""Members from evidence: lines, stretches, laps, room; and whole frames read from made-up photos."""

from dataclasses import replace
from functools import cache

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.frame.boxes import corners
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member
from recon.solve.evidence.along_line import along_line, lattice_openings
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    Candidate,
    grown,
    line_key,
    line_span,
    runs_into,
    touching,
)
from recon.solve.evidence.predictions import member_openings
from recon.solve.members.laps import lap_faces
from recon.solve.members.lines import candidate_lines, line_first, touching_lines
from recon.solve.members.overlaps import resolve_overlap
from recon.solve.members.selection import select_members
from recon.solve.members.stretches import LOOSE_END, best_stretch
from recon.solve.photo.read_photo import read_photo
from tests.growing import grow_frame
from tests.solve.scenes import SIZE, camera_round, candidates_of, lattice_change, photo_of, scene_of, shoot

AZIMUTHS = (30, 85, 150, 250)


def candidate(axis, first, holes, profile=None):
    profile = np.full(holes, 5.0) if profile is None else np.asarray(profile, float)
    return Candidate(
        axis, np.asarray(first, float), holes, float(profile.sum()), profile, np.ones(holes, int)
    )


# Stretches

profiles = st.lists(st.floats(-6, 6).filter(lambda v: abs(v) > 1e-3), min_size=1, max_size=14)


@given(profiles)
def test_best_stretch_is_that_of_all_stretches_less_its_loose_ends(profile):
    p = np.array(profile)
    a, b, total = best_stretch(p)
    every = max([(p[i:j].sum(), i, j) for i in range(len(p)) for j in range(i + 1, len(p) + 1)])
    if every[0] <= 0:
        assert (a, b, total) == (0, 0, 0.0)
        return
    assert total == pytest.approx(p[a:b].sum()) and p[a] > 0 and p[b - 1] > 0
    # Brute force: every piece cut off an end of the best stretch was worth less than LOOSE_END.
    _, i, j = every
    if total < every[0] - 1e-9:
        assert i <= a and b <= j
        assert p[i:a].sum() < LOOSE_END * max(1, a - i) and p[b:j].sum() < LOOSE_END * max(1, j - b)


def test_a_weak_hole_past_a_miss_is_left_off_and_a_strong_piece_stays():
    assert best_stretch(np.array([5, 5, 5, -2, 3.0]))[:2] == (0, 3)
    assert best_stretch(np.array([3, -2, 5, 5, 5.0]))[:2] == (2, 5)
    assert best_stretch(np.array([5, 5, 5, -2, 5, 5.0]))[:2] == (0, 6)


# Lines, boxes, growing


@given(
    st.integers(0, 2),
    st.lists(st.integers(-20, 20).map(lambda v: v / 2), min_size=3, max_size=3),
    st.integers(2, 12),
)
def test_a_line_is_named_by_its_axis_and_place_and_gives_its_holes_back(axis, first, holes):
    s = candidate(axis, first, holes)
    key = line_key(s)
    start = int(np.floor(s.first[axis]))
    assert line_first(key, start) == pytest.approx(s.first)
    assert line_first(key, start + 3) == pytest.approx(s.first + 3 * np.eye(3)[axis])
    assert key == line_key(candidate(axis, s.first + 4 * np.eye(3)[axis], holes))
    assert key != line_key(candidate(axis, s.first + 0.5, holes))


@pytest.mark.parametrize("width", [1.0, 1.5, 1.75])
def test_a_candidates_box_is_that_of_the_member(width):
    for seed in range(3):
        frame = grow_frame(seed, 5, width)
        for s, m in zip(candidates_of(frame), frame.members):
            lo, hi = s.box(width)
            assert lo == pytest.approx(corners(m).min(0)) and hi == pytest.approx(corners(m).max(0))


@given(st.integers(-3, 4), st.integers(-3, 4))
def test_a_grown_candidate_keeps_its_holes_where_they_are(low, high):
    s = candidate(1, [2, 3, 4], 9, np.arange(1, 10))
    g = grown(s, low, high)
    assert g.holes == 9 + low + high and len(g.profile) == len(g.seen) == g.holes

    def place(v):
        return {float(v.first[1] + k): float(p) for k, p in enumerate(v.profile)}

    new, old = place(g), place(s)
    assert all(new[y] == old.get(y, 0.0) for y in new)


@settings(max_examples=30)
@given(
    st.integers(0, 40),
    st.sampled_from([1.0, 1.5]),
    st.integers(0, 2),
    st.tuples(*[st.integers(-6, 6)] * 3),
    st.integers(2, 9),
)
def test_candidates_run_into_one_another_where_members_collide(seed, width, axis, at, holes):
    frame = grow_frame(seed, 5, width)
    new = Member("X", tuple(map(float, at)), tuple(np.eye(3)[axis]), holes, width)
    clash = bool(collisions([new, *frame.members]))
    assert runs_into(candidate(axis, at, holes), candidates_of(frame), width) == clash


# Laps


@settings(max_examples=30)
@given(st.integers(0, 60), st.sampled_from([1.0, 1.5]))
def test_faces_under_bolts_are_those_opposite_to_the_laps_of_the_frame(seed, width):
    frame = grow_frame(seed, 7, width, holes=(4, 10))
    candidates = candidates_of(frame)
    expected = {m.id: set() for m in frame.members}
    place = {m.id: m for m in frame.members}
    for j in frame.joints:
        if abs(np.dot(place[j.a].direction, place[j.b].direction)) > 0.5:
            continue  # side by side: no crossing
        for id, hole, outward in ((j.a, j.a_hole, -np.array(j.axis)), (j.b, j.b_hole, np.array(j.axis))):
            expected[id].add((tuple(place[id].hole_centre(hole)), tuple(np.round(outward))))
    for i, (s, m) in enumerate(zip(candidates, frame.members)):
        bolted = lap_faces(s.axis, s.first, s.holes, candidates[:i] + candidates[i + 1 :], width)
        _, normals = member_openings(s.axis, s.first, s.holes, width)
        found = {
            (tuple(s.first + k * np.eye(3)[s.axis]), tuple(normals[f])) for f, k in zip(*np.nonzero(bolted))
        }
        assert found == expected[m.id]


@settings(max_examples=15)
@given(st.integers(0, 60), st.sampled_from([1.0, 1.5]), st.integers(0, 6))
def test_groups_that_touch_hold_all_laps_together(seed, width, left_out):
    """Against the components of the graph of laps by networkx: touching joins at least what laps join."""
    frame = grow_frame(seed, 7, width, holes=(4, 10))
    left = [m for i, m in enumerate(frame.members) if i != left_out]
    graph = nx.Graph()
    graph.add_nodes_from(range(len(left)))
    index = {m.id: i for i, m in enumerate(left)}
    graph.add_edges_from((index[j.a], index[j.b]) for j in find_joints(left))
    groups = touching(candidates_of(replace(frame, members=tuple(left))), width)
    assert sorted(i for g in groups for i in g) == list(range(len(left)))
    group_of = {i: k for k, g in enumerate(groups) for i in g}
    for component in nx.connected_components(graph):
        assert len({group_of[i] for i in component}) == 1


def test_far_members_do_not_touch():
    assert sorted(
        touching([candidate(0, [0, 0, 0], 5), candidate(1, [2, -2, 1], 5), candidate(0, [0, 0, 9], 5)], 1.0)
    ) == [[0, 1], [2]]
    assert (
        len(touching([candidate(0, [0, 0, 0], 5), candidate(1, [4.9, -2, 1], 5)], 1.0)) == 2
    )  # edge to edge is no touch


@settings(max_examples=15)
@given(st.integers(0, 60), st.sampled_from([1.0, 1.5]))
def test_every_member_that_laps_a_known_one_is_on_a_line_to_look_at(seed, width):
    frame = grow_frame(seed, 6, width, holes=(4, 10))
    candidates, index = candidates_of(frame), {m.id: i for i, m in enumerate(frame.members)}
    for j in frame.joints:
        a, b = candidates[index[j.a]], candidates[index[j.b]]
        if a.axis != b.axis:
            lo, hi = touching_lines(scene_of((), [a], width))[line_key(b)]
            assert lo <= b.first[b.axis] and b.first[b.axis] + b.holes - 1 <= hi + 1


# Room


def test_of_two_that_overlap_the_weaker_end_is_cut_off():
    strong = candidate(0, [0, 0, 0], 10)
    weak = candidate(1, [4, -6, 0], 10, [5] * 6 + [0.5] * 4)  # its last holes run through the strong one
    new, chosen = resolve_overlap(weak, [strong], 1.0)
    assert new.holes == 6 and (new.first == weak.first).all() and chosen[0] is strong
    assert not runs_into(new, chosen, 1.0)


def test_a_chosen_member_yields_where_it_only_reached_out():
    reaching = candidate(1, [4, -6, 0], 10, [5] * 6 + [0.5] * 4)
    through = candidate(0, [0, 0, 0], 10)
    new, chosen = resolve_overlap(through, [reaching], 1.0)
    assert new is through and chosen[0].holes == 6 and not runs_into(new, chosen, 1.0)


def test_a_member_with_a_fixed_end_yields_nothing():
    fixed = replace(candidate(1, [4, -6, 0], 10, [5] * 6 + [0.5] * 4), fixed_ends=(True, False))
    through = candidate(0, [0, 0, 0], 10)
    new, chosen = resolve_overlap(through, [fixed], 1.0)
    assert chosen[0] is fixed and new.holes < 10 and not runs_into(new, chosen, 1.0)


def test_what_keeps_too_little_is_no_member():
    strong = candidate(0, [0, 0, 0], 10)
    assert resolve_overlap(candidate(0, [1, 0, 0], 6, [1.0] * 6), [strong], 1.0)[0] is None
    apart, chosen = resolve_overlap(candidate(0, [0, 5, 0], 6), [strong], 1.0)
    assert apart.holes == 6 and chosen == [strong]


def test_a_weak_line_beside_a_strong_member_does_not_cut_it():
    """Two members side by side cannot share a place: none explains what the other shows."""
    strong = candidate(1, [25, 35, -45], 30, [17] * 30)
    beside = candidate(1, [26, 33, -46], 17, [2.3] * 17)
    new, chosen = resolve_overlap(beside, [strong], 2.0)
    assert new is None and chosen == [strong]


# Whole frames


@cache
def scene(seed, width=1.0):
    """A frame, photos from four sides with true cameras, and the holes of each member that are in sight."""
    frame = grow_frame(seed, 8, width, holes=(6, 13))
    shots = [
        shoot(frame, camera_round(frame, a, 18 + 6 * i), 10 * seed + i, clutter=100)
        for i, a in enumerate(AZIMUTHS)
    ]
    in_sight = []
    for i in range(len(frame.members)):
        holes = [k for s in shots for m, _, k in s.source if m == i]
        in_sight.append((min(holes), max(holes)) if holes else None)
    return frame, shots, in_sight


def as_set(candidates):
    return {(s.axis, tuple(np.round(s.first, 3) + 0.0), s.holes) for s in candidates}


def all_lines(frame):
    out = {}
    for s in candidates_of(frame):
        lo = int(np.floor(s.first[s.axis]))
        out[line_key(s)] = [lo + s.holes // 3, lo + s.holes // 2]
    return {**touching_lines(scene_of((), candidates_of(frame), frame.members[0].width), 12), **out}


def truncated(frame, in_sight):
    """The members, each as far as its openings are in sight."""
    out = []
    for m, span in zip(frame.members, in_sight):
        if span and span[1] - span[0] >= 2:
            a, b = m.hole_centre(span[0]), m.hole_centre(span[1])
            axis = int(np.abs(m.direction).argmax())
            out.append(candidate(axis, np.minimum(a, b), span[1] - span[0] + 1))
    return out


@pytest.mark.parametrize("seed, width", [(1, 1.0), (4, 1.0), (3, 1.5)])
def test_members_are_chosen_as_far_as_they_are_seen_and_no_others(seed, width):
    """Among all lines on which a member could touch another: each true one, hole for hole, and no other."""
    frame, shots, in_sight = scene(seed, width)
    photos = [photo_of(s, f"photo_{i}") for i, s in enumerate(shots)]
    seen = select_members(scene_of(photos, (), width), all_lines(frame))
    chosen = select_members(seen, {line_key(c): line_span(c) for c in seen.candidates}).candidates
    assert as_set(chosen) == as_set(truncated(frame, in_sight))
    assert all(s.evidence >= LEAST_EVIDENCE for s in chosen)


def test_evidence_along_a_line_tells_where_the_member_is():
    frame, shots, in_sight = scene(1)
    photos = [photo_of(s) for s in shots]
    i = max(range(len(frame.members)), key=lambda i: np.ptp(in_sight[i]) if in_sight[i] else 0)
    s = candidates_of(frame)[i]
    lo = int(s.first[s.axis])
    start = line_first(line_key(s), lo - 4)
    found = along_line(photos, lattice_openings(s.axis, start, s.holes + 8, 1.0))
    total = found.profile
    assert found.llr.shape == found.hit.shape == (len(photos), 4, s.holes + 8)
    assert total[4:-4].mean() > 5 and total[:4].max() < 5 and total[-4:].max() < 5


def test_detections_are_explained_once():
    """A far member alone, seen at 45 degrees: the line a pitch nearer on both axes looks nearly the same."""
    frame = Frame((Member("A", (-5.0, 0.0, 0.0), (1.0, 0.0, 0.0), 11, 1.0),), (), 38.1)
    camera = camera_round(frame, 90, 45, f=1300, roll=0.0)
    at = camera.centre / np.linalg.norm(camera.centre)
    camera = replace(camera, t=-camera.R @ (60 * at))
    photo = photo_of(shoot(frame, camera, 0, noise_px=0.2, found=1.0, clutter=20))
    true, front = (0, 0.0, 0.0, 0.0), (0, 1.0, 1.0, 0.0)
    alone = select_members(scene_of([photo]), {front: (-5, 5)}).candidates
    assert len(alone) == 1  # by itself it passes for a member
    chosen = select_members(scene_of([photo]), {true: (-5, 5), front: (-5, 5)}).candidates
    assert [line_key(s) for s in chosen] == [true]


def test_rows_of_one_photo_lead_to_the_lines_of_their_members():
    frame, shots, _ = scene(1)
    reading = read_photo("photo", shots[0].openings, SIZE, None, 1.0)
    turn, shift, _ = lattice_change(reading.lattice.camera, shots[0].camera)
    lines = candidate_lines([reading.lattice])
    found = 0
    wanted = 0
    for i, m in enumerate(frame.members):
        holes = shots[0].source[shots[0].source[:, 0] == i]
        if max((np.sum(holes[:, 1] == f) for f in range(4)), default=0) < 5:
            continue
        wanted += 1
        a, b = (turn @ m.hole_centre(k) + np.rint(shift) for k in (holes[:, 2].min(), holes[:, 2].max()))
        s = candidate(int(np.abs(turn @ m.direction).argmax()), np.minimum(a, b), 2)
        key = line_key(s)
        found += (
            key in lines and lines[key][0] <= np.maximum(a, b)[s.axis] and lines[key][1] >= s.first[s.axis]
        )
    assert wanted >= 4 and found == wanted
