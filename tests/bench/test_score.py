"""The score of a frame against its truth: braces, origins between the half steps, and nothing at all."""

import pytest

from recon.bench.score import exact_members, score

STICKS = [
    {"axis": 2, "at": [0, 0, 0], "holes": 10},
    {"axis": 0, "at": [0, 1, 2], "holes": 8},
    {"axis": 1, "at": [5, 0, 4], "holes": 6},
]
BRACE = {"first": [0, -1, 0], "direction": [0.6, 0, 0.8], "holes": 11, "flat": [0, 1, 0]}


def photo(*seen, brace_holes=()):
    holes = [{"stick": i, "hole": k} for i, k in seen]
    return {"file": "photo_1.jpg", "holes": holes, "brace_holes": list(brace_holes)}


def frame_of(sticks, shift=(0.0, 0.0, 0.0), braces=()):
    unit = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
    members = [(s["at"], unit[s["axis"]], s["holes"]) for s in sticks]
    members += [(b["first"], b["direction"], b["holes"]) for b in braces]
    return {
        "members": [
            {
                "first": [a + b for a, b in zip(at, shift)],
                "direction": u,
                "holes": n,
                "confidence": 0.9,
            }
            for at, u, n in members
        ]
    }


@pytest.mark.parametrize("shift", [(0.2, 0.2, -0.2), (0.24, 7.74, -3.26), (0.5, 0.25, 0.1)])
def test_a_frame_is_exact_wherever_its_origin_lies(shift):
    assert score(frame_of(STICKS, shift), {"sticks": STICKS})["frame_exact"]


def test_braces_are_members_and_are_counted_apart():
    truth = {"sticks": STICKS, "braces": [BRACE], "photos": []}
    whole = score(frame_of(STICKS, braces=[BRACE]), truth)
    assert (whole["exact"], whole["braces"], whole["braces_exact"]) == (4, 1, 1)
    without = score(frame_of(STICKS), truth)
    assert (without["missing"], without["braces_exact"], without["edits"]) == (1, 0, 1)
    assert "braces" not in score(frame_of(STICKS), {"sticks": STICKS})


def test_a_brace_may_be_further_off_than_a_stick():
    truth = {"sticks": STICKS, "braces": [BRACE]}
    off = BRACE | {"first": [0.3, -1, 0]}
    assert score(frame_of(STICKS, braces=[off]), truth)["braces_exact"] == 1
    sticks = [STICKS[0] | {"at": [0.3, 0, 0]}, *STICKS[1:]]
    assert score(frame_of(sticks), {"sticks": STICKS})["exact"] == 2


def test_the_openings_of_a_brace_put_it_in_sight_however_the_file_lists_them():
    truth = {"sticks": STICKS, "braces": [BRACE]}
    read = frame_of(STICKS, braces=[BRACE])
    counted_on = photo((3, 0), (3, 1), (3, 2))
    apart = photo(brace_holes=[{"brace": 0, "hole": k} for k in range(3)])
    for seen in (counted_on, apart):
        result = score(read, truth | {"photos": [seen]}, 3)
        assert (result["visible"], result["visible_exact"]) == (1, 1)


def test_what_is_in_sight_counts_where_nothing_was_read():
    truth = {"sticks": STICKS, "photos": [photo((0, 0), (0, 1), (0, 2), (1, 0))]}
    result = score({"members": []}, truth, 3)
    assert (result["visible"], result["visible_exact"], result["missing"]) == (1, 0, 3)


def test_each_exact_member_is_known_and_a_second_one_in_its_place_is_not_exact():
    read = frame_of([STICKS[0], STICKS[1] | {"holes": 7}, STICKS[2], STICKS[2]])
    assert exact_members(read, {"sticks": STICKS}) == [True, False, True, False]


def test_a_truth_without_members_makes_every_member_extra():
    result = score(frame_of(STICKS), {"sticks": [], "photos": []}, 3)
    assert (result["members"], result["extra"], result["edits"]) == (0, 3, 3)
    assert score({"members": []}, {"sticks": []})["frame_exact"]
    assert exact_members(frame_of(STICKS), {"sticks": []}) == [False] * 3
