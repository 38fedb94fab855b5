"""The curve of confidence fitted to members of which it is known whether they are exact."""

import json

import numpy as np
import pytest

from recon.bench import confidence
from recon.bench.confidence import called_sure, fit_curve, halves, share_exact
from recon.errors import ReconError
from recon.solve.result.confidence import CURVE, MemberEvidence, confidence_of


def members(count, curve, seed=0, tied=True):
    """Members that are exact as often as a curve says."""
    rng = np.random.default_rng(seed)
    rows = []
    for n in range(count):
        ends = 1 - rng.uniform(0, 0.8, 2) ** 3
        held = int(rng.integers(3))
        seen = MemberEvidence(float(np.exp(rng.uniform(3, 7.5))), (float(ends[0]), float(ends[1])), held)
        exact = rng.random() < confidence_of(seen, curve)
        row = {"frame": f"f{n % 40:02d}", "photos": 3, "nats": seen.nats, "ends": list(seen.ends)}
        rows.append(row | {"held": held, "tied": tied, "exact": bool(exact)})
    return rows


def test_a_fitted_curve_calls_sure_what_is_right_on_members_kept_aside():
    boastful = (-7.0, 0.8, 0.9, 1.0)  # members are right less often than the present curve says
    fit, check = halves(members(8000, boastful))
    assert share_exact(check, CURVE) < 0.96
    curve = fit_curve(fit)
    assert share_exact(check, curve) > 0.965 and called_sure(check, curve).sum() > 20
    assert curve[0] < CURVE[0]


def test_the_halves_share_no_frame():
    fit, check = halves(members(200, CURVE))
    assert not {r["frame"] for r in fit} & {r["frame"] for r in check} and len(fit) == len(check) == 100


def test_members_without_laps_are_never_called_sure():
    assert not called_sure(members(300, CURVE, tied=False), CURVE).any()


def test_what_was_kept_is_reported_and_the_exit_code_says_whether_it_holds(tmp_path, capsys):
    good, bad = tmp_path / "good.json", tmp_path / "bad.json"
    rows = members(600, CURVE)
    good.write_text(json.dumps([row | {"exact": True} for row in rows]))
    bad.write_text(json.dumps([row | {"exact": n % 2 == 0} for n, row in enumerate(rows)]))
    assert confidence.run(["--from", str(good)]) == 0
    assert confidence.run(["--from", str(bad)]) == 1
    assert "fitted curve" in capsys.readouterr().out
    with pytest.raises(ReconError, match="No members"):
        confidence.run([])
