"""Racked frames and members off their places: what made-up photos give back."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.frame.model import Frame, as_tuple
from recon.solve.evidence.candidate import Candidate
from recon.solve.result.squareness import squareness_of
from tests.growing import grow_frame
from tests.render.build import racked
from tests.solve.scenes import camera_round, photo_of, scene_of, shoot

VIEWS = ((30, 25), (75, 30), (-20, 20))


def built(frame, rack_deg, play=0.0, turn_deg=0.0, seed=0):
    """The frame as it is really built: racked about its middle, its members with play; and that play."""
    rng = np.random.default_rng(seed)
    axes = racked(rack_deg)
    middle = np.mean([m.hole_centre((m.holes - 1) / 2) for m in frame.members], axis=0)
    members, offs = [], []
    for m in frame.members:
        shift, turn = rng.normal(0, play, 3), np.radians(rng.normal(0, turn_deg, 3))
        own = axes @ (m.hole_centre((m.holes - 1) / 2) - middle) + middle + shift
        way = Rotation.from_rotvec(turn).as_matrix() @ axes @ m.direction
        way = way / np.linalg.norm(way)
        members.append(replace(m, first=as_tuple(own - (m.holes - 1) / 2 * way), direction=as_tuple(way)))
        offs.append((shift, np.degrees(turn)))
    return Frame(tuple(members)), offs


def scene_of_built(rack_deg, seed=0, **how):
    """Photos of a built frame, with candidates in their places of the lattice; and the true play."""
    frame = grow_frame(seed, 10, holes=(8, 16))
    real, offs = built(frame, rack_deg, seed=seed, **how)
    photos = [
        photo_of(shoot(real, camera_round(real, *view), seed + k, clutter=20), f"{k}.jpg")
        for k, view in enumerate(VIEWS)
    ]
    candidates = []
    for m in frame.members:
        axis = int(np.abs(m.direction).argmax())
        candidates.append(Candidate.bare(axis, np.minimum(m.first, m.last), m.holes))
    return scene_of(photos, candidates), offs


@pytest.mark.parametrize("rack", [(0.0, 1.2, 0.0), (1.5, 0.0, -0.8), (0.0, 0.0, 0.0)])
def test_the_rack_of_a_built_frame_is_found_within_its_error(rack):
    scene, _ = scene_of_built(rack, play=0.02, turn_deg=0.1)
    found = squareness_of(scene).racked
    true = np.array(rack)[::-1]  # x y, x z, y z are the planes about z, y, x
    off = np.abs(np.array(found.deg) - true)
    assert (off < 3.5 * np.array(found.error_deg)).all()
    assert max(found.error_deg) < 0.25


def test_members_off_their_places_are_found_within_their_errors():
    scene, offs = scene_of_built((0.0, 0.8, 0.0), seed=1, play=0.04, turn_deg=0.2)
    found = squareness_of(scene).members
    z = [
        (np.array([*m.shift, *m.turn_deg]) - [*shift, *turn]) / [*m.shift_error, *m.turn_error_deg]
        for m, (shift, turn) in zip(found, offs)
        if m
    ]
    assert len(z) >= 8
    assert np.sqrt(np.mean(np.square(z))) < 1.3 and np.abs(z).max() < 4
    known = np.array([m.shift_error for m in found if m])
    assert np.median(known) < 0.03


def test_one_moved_member_is_told_from_the_others():
    scene, _ = scene_of_built((0.0, 0.0, 0.0), seed=2, play=0.01, turn_deg=0.05)
    moved = scene.candidates[3]
    away = np.eye(3)[(moved.axis + 1) % 3] * 0.15
    there = [replace(c, first=c.first - away) if c is moved else c for c in scene.candidates]
    found = squareness_of(scene.with_candidates(there)).members
    size = [np.linalg.norm(m.shift) if m else 0.0 for m in found]
    assert int(np.argmax(size)) == 3 and abs(size[3] - 0.15) < 0.05
    assert np.median(size) < 0.03


def test_too_few_openings_say_nothing():
    scene, _ = scene_of_built((0.0, 0.0, 0.0))
    bare = replace(scene.photos[0], openings=scene.photos[0].openings[:5])
    assert squareness_of(scene_of([bare], [])).racked is None
