"""Stages of a reading as pictures and numbers, for a small made-up frame."""

import errno
import os
from functools import cache
from itertools import pairwise

import cv2
import numpy as np
import pytest

from recon.errors import ReconError
from recon.image.openings import OPENING
from recon.solve.debug.camera_axes import vanishing_points_px
from recon.solve.debug.members_picture import HIDDEN, HIT, LAP, MISSED, UNSEEN, opening_states
from recon.solve.debug.numbers import numbers_text
from recon.solve.debug.stages import write_stages
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.scene import Scene
from recon.solve.photo.photo_lattice import guess_openings
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import read_photo
from tests.solve.scenes import SIZE, grown_scene, photo_of, scene_of

PAPER_GREY = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)


@cache
def scene():
    """A frame, a photo of it, what that photo gives by itself, and the frame's members as candidates."""
    frame, shot = grown_scene(5, members=5)
    reading = read_photo("one.jpg", shot.openings, SIZE, 1300.0, 1.0)
    return frame, shot, reading, [candidate_of(m) for m in frame.members]


def candidate_of(member) -> Candidate:
    axis = int(np.abs(member.direction).argmax())
    first = np.minimum(np.asarray(member.first, float), member.last)
    return Candidate(axis, first, member.holes, 50.0, np.ones(member.holes), np.ones(member.holes, int))


def write(folder, readings, photos):
    return write_stages(
        folder, readings, Scene(tuple(photos), {r.name: PAPER_GREY for r in readings}, 1.0, tuple(scene()[3]))
    )


def nothing_read(name):
    return PhotoReading(
        name, SIZE, np.zeros(0, OPENING), None, None, (1.0, np.inf), 0.0, "hardly any openings can be seen"
    )


def test_each_photo_gets_its_numbers_and_a_picture_a_stage_that_sort_in_order(tmp_path):
    _, shot, reading, _ = scene()
    files = write(tmp_path / "new", [reading], [photo_of(shot, "one.jpg")])
    assert [f.name for f in files] == sorted(p.name for p in (tmp_path / "new").iterdir())
    assert [f.name for f in files] == [
        "one_0_numbers.txt",
        "one_1_openings.jpg",
        "one_2_rows.jpg",
        "one_3_axes.jpg",
        "one_4_lattice.jpg",
        "one_5_members.jpg",
    ]
    pictures = [cv2.imread(str(f)) for f in files[1:]]
    for picture in pictures:
        # The photo, and the strip that explains it.
        assert picture.shape[1] == 1600 and picture.shape[0] > 1200
        assert np.ptp(picture[:1200].astype(int), axis=2).max() > 100  # coloured marks on a grey photo
    assert all((a != b).any() for a, b in pairwise(pictures))


def test_a_photo_has_the_stages_that_it_reached(tmp_path):
    reading = scene()[2]
    files = write(tmp_path, [nothing_read("blank.jpg"), reading], [])
    assert [f.name for f in files] == [
        "blank_0_numbers.txt",
        "blank_1_openings.jpg",
        "one_0_numbers.txt",
        "one_1_openings.jpg",
        "one_2_rows.jpg",
        "one_3_axes.jpg",
        "one_4_lattice.jpg",
    ]
    assert "hardly any openings" in files[0].read_text() and "set aside" in files[2].read_text()


def test_photos_of_one_name_keep_files_of_their_own(tmp_path):
    files = write(
        tmp_path, [nothing_read("left.jpg"), nothing_read("left.png"), nothing_read("up/LEFT.jpg")], []
    )
    assert len({f.name.casefold() for f in files}) == 6


def test_a_folder_with_stages_in_it_is_refused_and_left_as_it_is(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    first = write(tmp_path, [nothing_read("blank.jpg")], [])
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(ReconError, match="another folder"):
        write(tmp_path, [nothing_read("other.jpg")], [])
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    for f in first:
        f.unlink()
    assert write(tmp_path, [nothing_read("other.jpg")], [])  # files that are no stages do not matter


def test_a_disk_that_gets_full_leaves_no_half_of_the_stages(tmp_path, monkeypatch):
    _, shot, reading, _ = scene()
    (tmp_path / "mine.txt").write_text("mine")
    real, written = os.fsync, []

    def full_at_the_third(file):
        written.append(file)
        if len(written) % 3 == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(file)

    monkeypatch.setattr(os, "fsync", full_at_the_third)
    for folder in (tmp_path, tmp_path / "new"):
        with pytest.raises(ReconError, match="disk is full"):
            write(folder, [reading], [photo_of(shot, "one.jpg")])
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_states_are_hit_missed_and_hidden_as_the_photo_was_made():
    frame, shot, _, candidates = scene()
    photo = photo_of(shot)
    found = opening_states(scene_of([photo], candidates), photo)
    made = np.bincount(shot.source[shot.source[:, 0] >= 0, 0], minlength=len(frame.members))
    hits = np.array([(s.state == HIT).sum() for s in found])
    missed = np.array([np.isin(s.state, (MISSED, LAP)).sum() for s in found])
    assert np.abs(hits - made).max() <= 1  # one taken for clutter or the other way round
    assert 0 < missed.sum() < 0.15 * made.sum()  # 5 in 100 were left out
    for s, candidate in zip(found, candidates):
        assert len(s.state) == 4 * candidate.holes
        assert ((s.hit >= 0) == (s.state == HIT)).all()
        assert (s.nats[np.isin(s.state, (HIDDEN, UNSEEN))] == 0).all()
    assert sum((s.state == HIDDEN).sum() for s in found) > 0  # laps hide what they touch


def test_a_member_that_is_not_there_is_missed():
    _, shot, _, candidates = scene()
    false = Candidate(0, candidates[0].first + [1, 5, 3], 6, 20.0, np.ones(6), np.ones(6, int))
    photo = photo_of(shot)
    s = opening_states(scene_of([photo], [*candidates, false]), photo)[-1]
    assert (s.state == MISSED).sum() > (s.state == HIT).sum() and s.nats.sum() < 0


def test_guesses_projected_back_fall_on_their_detections():
    _, shot, reading, _ = scene()
    lattice = reading.lattice
    for row, sign, guesses in zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses):
        if not guesses or np.exp(guesses[0].log_p) < 0.75:
            continue
        px = lattice.camera.project(guess_openings(row, sign, guesses[0], reading.lattice_width))
        seen = np.c_[shot.openings["x"], shot.openings["y"]][row.index]
        assert np.sqrt(((px - seen) ** 2).sum(1).mean()) < 2.5


def test_vanishing_points_are_where_long_lines_end():
    camera = scene()[1].camera
    for j, p in enumerate(vanishing_points_px(camera)):
        if np.isfinite(p).all():
            ahead = 1e7 * np.eye(3)[j] * np.sign(camera.R[2, j])
            # This camera's lens has no distortion.
            assert p == pytest.approx(camera.project(ahead[None])[0], abs=0.1)


def test_the_numbers_name_every_member_and_row():
    _, shot, reading, candidates = scene()
    text = numbers_text(reading, scene_of([photo_of(shot, "one.jpg")], candidates))
    assert f"1 detections: {len(shot.openings)}" in text
    assert f"2 rows believed: {len(reading.lattice.placed.rows)}" in text
    members = text.split("5 members")[1].splitlines()
    assert [line.split()[0] for line in members[-len(candidates) :]] == ["A", "B", "C", "D", "E"]
