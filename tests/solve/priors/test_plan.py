"""A plan helps the reading and never overrules what the photos show."""

from dataclasses import replace

from recon.bench.score import score
from recon.frame.files import frame_to_dict
from tests.solve.sample_readings import reading, reading_with_plan, truth
from tests.truth import frame_from_truth

TRUTH = truth("trestle")


def exactness(read):
    return score(frame_to_dict(read.frame), TRUTH)


def test_a_plan_helps_where_one_photo_leaves_ends_open():
    plan = frame_from_truth(TRUTH)
    alone, helped = map(exactness, (reading("trestle", (2,)), reading_with_plan("trestle", (2,), plan)))
    assert helped["exact"] > alone["exact"] and helped["extra"] <= alone["extra"]


def test_a_wrong_plan_does_not_overrule_what_the_photos_show():
    """In the plan every 24-hole member is two holes shorter; the photos show the ends where they are."""
    plan = frame_from_truth(TRUTH)
    members = tuple(replace(m, holes=m.holes - 2) if m.holes == 24 else m for m in plan.members)
    wrong = replace(plan, members=members, joints=())
    got = exactness(reading_with_plan("trestle", (1, 2, 3), wrong))
    assert got["exact"] == 11 and got["extra"] == 0
