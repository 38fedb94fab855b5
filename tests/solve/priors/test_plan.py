"""A plan helps the reading and never overrules what the photos show."""

import json
from dataclasses import replace
from pathlib import Path

from recon import solve
from recon.bench.score import score
from recon.frame.files import frame_to_dict
from recon.frame.stock import load_stocks
from recon.image.photos import load_photo
from tests.truth import frame_from_truth

TRESTLE = Path(__file__).parents[3] / "sample_images" / "trestle"
TRUTH = json.loads((TRESTLE / "truth.json").read_text())
STOCKS = load_stocks()


def read(plan, photos):
    return solve.read(
        [load_photo(TRESTLE / f"photo_{k}.jpg") for k in photos], stocks=STOCKS, plan=plan
    ).frame


def test_a_plan_helps_where_one_photo_leaves_ends_open():
    plan = frame_from_truth(TRUTH)
    alone, helped = (score(frame_to_dict(read(p, (1,))), TRUTH) for p in (None, plan))
    assert helped["exact"] > alone["exact"] and helped["extra"] <= alone["extra"]


def test_a_wrong_plan_does_not_overrule_what_the_photos_show():
    """In the plan every 24-hole member is two holes shorter; the photos show the ends where they are."""
    plan = frame_from_truth(TRUTH)
    members = tuple(replace(m, holes=m.holes - 2) if m.holes == 24 else m for m in plan.members)
    got = score(frame_to_dict(read(replace(plan, members=members, joints=()), (1, 2, 3))), TRUTH)
    assert got["exact"] == 11 and got["extra"] == 0
