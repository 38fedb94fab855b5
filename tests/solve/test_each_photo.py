"""Photos read by themselves, here and in a worker process: the same is found, shown and told."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from recon.errors import ReconError
from recon.image.photos import PhotoImage
from recon.solve.each_photo import PHOTOS_DONE, EachPhoto, Watch, copy_of, workers_for
from recon.workers import Workers


def photo(k):
    """A board with a row of k + 4 holes."""
    colour = np.full((200, 320, 3), 180, np.uint8)
    for i in range(k + 4):
        cv2.circle(colour, (30 + 28 * i, 100), 7, (40, 40, 40), -1)
    name = f"photo_{k + 1}.png"
    return PhotoImage(Path(name), name, colour, (320, 200), None, None, "")


def read(workers, cancelled=None):
    """Detections of three photos, what was shown of each, and the stages."""
    detected, shown, stages = {}, {}, []
    watch = Watch(lambda stage, share: stages.append((share, stage)), cancelled)

    def seen(name, openings, rows):
        shown.setdefault(name, []).append(len(openings))

    each = EachPhoto(None, None, detected, None, watch, workers, seen)
    readings = each.read([copy_of(photo(k)) for k in range(3)])
    return [r.reason for r in readings], detected, shown, stages


def test_in_processes_the_same_is_found_shown_and_told():
    reasons, detected, shown, stages = read(Workers())
    # The first one is shown at a glance, too.
    assert [len(shown[f"photo_{k}.png"]) for k in (1, 2, 3)] == [2, 1, 1]
    assert [len(detected[f"photo_{k}.png"]) >= k + 3 for k in (1, 2, 3)] == [True] * 3
    with Workers(1, ["recon.solve.each_photo"]) as workers:
        again = read(workers)
    assert again[0] == reasons and again[2] == shown
    assert all((again[1][name] == table).all() for name, table in detected.items())
    assert sorted(stage for _, stage in again[3]) == sorted(stage for _, stage in stages)
    assert max(share for share, _ in again[3]) == pytest.approx(PHOTOS_DONE)


def test_a_reading_that_is_cancelled_ends_in_processes_too():
    heard = []
    with Workers(1, ["recon.solve.each_photo"]) as workers, pytest.raises(ReconError) as error:
        read(workers, lambda: len(heard) > 2 or heard.append(1))
    assert error.value.exit_code == 130


def test_there_are_no_more_processes_than_photos_or_than_were_asked_for():
    with workers_for(1) as one, workers_for(9, most=1) as asked:
        assert one.pids == [] and asked.pids == []
