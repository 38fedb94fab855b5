"""Looks along lines that are weighed again while members take their detections."""

from __future__ import annotations

import numpy as np

from recon.solve.evidence.along_line import along_line, candidate_openings
from recon.solve.evidence.kept_looks import looks_along, with_shared_free
from tests.solve.evidence.test_along_line import scene as made_scene


def test_a_kept_look_says_what_a_new_one_does_whatever_is_taken() -> None:
    scene = made_scene()
    photos, free = with_shared_free(scene.photos)
    lines = candidate_openings(scene)
    looks = looks_along(photos, lines, [scene.occluders] * len(lines))
    rng = np.random.default_rng(4)
    for share in (0.0, 0.2, 0.6):
        free[rng.random(len(free)) < share] = False
        for line, look in zip(lines, looks):
            anew = along_line(photos, line, scene.occluders, only_free=True)
            kept = look.evidence(free)
            for name in ("llr", "hit", "visible", "head"):
                assert np.array_equal(getattr(kept, name), getattr(anew, name)), name
    assert not free.all()


def test_a_detection_taken_in_a_photo_is_taken_among_all() -> None:
    scene = made_scene()
    photos, free = with_shared_free(scene.photos)
    photos[1].free[3] = False
    assert np.nonzero(~free)[0].tolist() == [len(photos[0].openings) + 3]
