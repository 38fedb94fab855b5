"""Runs of openings that something unknown hides: many faces at once give what each gives by itself."""

import numpy as np

from recon.solve.evidence import unknown_occluders
from recon.solve.evidence.along_line import LineEvidence
from recon.solve.evidence.unknown_occluders import all_without_hidden_runs, without_hidden_runs


def random_line(rng, holes):
    shape = (3, 4, holes)
    visible = rng.random(shape) < 0.7
    llr = np.where(visible, rng.choice([-2.0, -1.1, 0.0, 3.7], shape, p=[0.4, 0.2, 0.1, 0.3]), 0.0)
    hit = np.where(llr > 0, rng.integers(0, 99, shape), -1)
    return LineEvidence(llr, hit, visible, np.full(shape, -1))


def test_lines_of_any_length_at_once_are_as_each_by_itself(monkeypatch):
    rng = np.random.default_rng(0)
    lines = [random_line(rng, int(n)) for n in rng.integers(1, 40, 60)]
    at_once = all_without_hidden_runs(lines)
    monkeypatch.setattr(unknown_occluders, "MANY_FACES", 10**6)  # each face in Python
    for line, found in zip(lines, at_once):
        alone = without_hidden_runs(line)
        for name in ("llr", "hit", "visible", "head"):
            assert (getattr(alone, name) == getattr(found, name)).all()


def test_hiding_runs_never_costs_more_than_the_misses_that_they_hide():
    rng = np.random.default_rng(1)
    for line in [random_line(rng, 30) for _ in range(40)]:
        found = without_hidden_runs(line)
        gone = line.visible & ~found.visible
        assert found.llr.sum() >= line.llr.sum() - 1e-9
        assert (found.hit[gone] == -1).all()
        assert (line.llr.sum() == found.llr.sum()) == (not gone.any())
