"""The scene: a value that is never changed, with what follows from it at hand."""

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from recon.solve.evidence.candidate import Candidate, EndGuess, boxes
from tests.solve.scenes import grown_scene, photo_of, scene_of

RAIL, POST = Candidate.bare(0, [0, 0, 0], 5), Candidate.bare(2, [2, 1, -2], 6)
END = EndGuess(np.array([4]), np.zeros(1), False)


def test_a_scene_with_other_candidates_leaves_the_first_as_it_was():
    scene = scene_of((), [RAIL], 1.5)
    lo, hi = scene.occluders.lo, scene.occluders.hi
    more = scene.with_candidates([RAIL, POST], [(END, END)] * 2)
    assert scene.candidates == (RAIL,) and scene.ends == () and len(more.ends) == 2
    assert (scene.occluders.lo == lo).all() and (scene.occluders.hi == hi).all()
    assert len(more.occluders.lo) == 2
    with pytest.raises(FrozenInstanceError):
        scene.width = 2.0


def test_occluders_are_the_boxes_of_the_candidates_and_made_once():
    scene = scene_of((), [RAIL, POST], 1.5)
    lo, hi = boxes([RAIL, POST], 1.5)
    assert (scene.occluders.lo == lo).all() and (scene.occluders.hi == hi).all()
    assert scene.occluders is scene.occluders


def test_candidates_without_their_ends_lose_them():
    scene = scene_of((), [RAIL]).with_candidates([RAIL], [(END, END)])
    assert scene.with_candidates([POST]).ends == ()
    assert scene.with_photos(()).ends == ((END, END),)


@pytest.mark.parametrize("index, others", [(0, (POST,)), (1, (RAIL,)), (-1, (RAIL,))])
def test_others_are_all_candidates_but_one(index, others):
    assert scene_of((), [RAIL, POST]).others(index) == others


def test_a_photo_has_its_picture():
    _, shot = grown_scene(2)
    a, b = photo_of(shot, "a"), photo_of(shot, "b")
    scene = scene_of([a, b], pictures=[np.zeros((2, 2, 3)), np.ones((2, 2, 3))])
    assert scene.picture(b).all() and not scene.picture(a).any()
