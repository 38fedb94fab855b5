"""Looks along many lines at once against looks along one after another."""

import numpy as np
import pytest

from recon.solve.evidence.along_line import along_line, lattice_openings
from recon.solve.evidence.many_lines import along_likely_lines, along_lines
from recon.solve.evidence.occluders import NOTHING, occluders_of
from tests.solve.scenes import candidates_of, grown_scene, photo_of


@pytest.mark.parametrize("seed", range(3))
def test_many_lines_say_at_once_what_each_says_by_itself(seed):
    frame, shot = grown_scene(seed)
    photo, known = photo_of(shot), candidates_of(frame)
    members = occluders_of(known, 1.0)
    lines = [lattice_openings(c.axis, c.first + [0, 0, off], c.holes, 1.0) for c in known for off in (0, 1)]
    behind = [members if k % 3 else NOTHING for k in range(len(lines))]
    alone = [along_line([photo], line, before) for line, before in zip(lines, behind)]
    for one, found in zip(alone, along_lines([photo], lines, behind)):
        for name in ("llr", "hit", "visible", "head"):
            assert (getattr(one, name) == getattr(found, name)).all()
    worth = np.array([one.llr.clip(0).sum() for one in alone])
    least = float(np.median(worth)) + 1e-6
    likely = along_likely_lines([photo], lines, behind, least)
    assert sorted(likely) == np.nonzero(worth >= least)[0].tolist() and likely
    assert all((found.llr == alone[k].llr).all() for k, found in likely.items())
