"""Files that hold more than any frame does are refused before the work, and dense frames take no longer."""

import json

import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame import files, joints, user_files
from recon.frame.files import MOST_CLASHES, frame_from_dict, load_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Member, label
from recon.frame.user_files import MOST_ERRORS, parse_json

POST = {"first": [0, 0, 0], "direction": [0, 0, 1], "holes": 3}


def test_more_values_than_any_file_has_are_refused_before_they_are_read(monkeypatch, tmp_path):
    monkeypatch.setattr(user_files, "MOST_VALUES", 50)
    (tmp_path / "f.json").write_text(json.dumps({"members": [{}] * 100}))
    monkeypatch.setattr(user_files.json, "loads", lambda *_, **__: pytest.fail("it was read"))
    with pytest.raises(ReconError, match="more than 50 values"):
        load_frame(tmp_path / "f.json")


def test_a_list_that_is_too_long_is_refused_before_its_entries_are_looked_at(monkeypatch):
    monkeypatch.setattr(user_files.jsonschema, "Draft202012Validator", lambda _: pytest.fail("looked at"))
    with pytest.raises(ReconError, match=r"'members' has 2,001 entries; a frame has a list of 1 to 2000"):
        frame_from_dict({"members": [{}] * 2001})


def test_of_very_many_errors_the_first_is_said_and_not_all_are_looked_for():
    with pytest.raises(
        ReconError, match=rf"joint 1: 'a' is missing.*at least {MOST_ERRORS - 1} more like it"
    ):
        frame_from_dict({"members": [POST], "joints": [{}] * 5000})


def test_members_in_one_place_are_counted_up_to_a_number(monkeypatch):
    looked_at = []
    real = joints.penetration
    monkeypatch.setattr(joints, "penetration", lambda a, b: looked_at.append(1) or real(a, b))
    with pytest.raises(ReconError, match=r"members A and B take the same room.*at least .* more pairs do"):
        frame_from_dict({"members": [POST] * 300})
    assert len(looked_at) == MOST_CLASHES // 299 + 1  # of 299
    assert files.collisions is collisions


def test_a_name_that_is_no_text_is_said_with_its_place():
    for data, place in (
        ({"members": [POST], "name": "\ud800"}, "'name'"),
        ({"members": [POST | {"stock": "x\udfff"}]}, "member 1: 'stock'"),
        ({"members": [POST], "doubts": ["fine", "\udc80"]}, r"'doubts \[2\]'"),
    ):
        with pytest.raises(ReconError, match=f"{place} holds half of a surrogate pair"):
            frame_from_dict(data)
    assert parse_json('{"name": "\\ud83d\\ude00"}', "f")["name"] == "\U0001f600"  # a whole pair is one


def all_laps(members):
    """Laps by definition: for each pair of members, hole by hole."""
    found = {}
    for i, a in enumerate(members):
        for b in members[i + 1 :]:
            for p in range(a.holes):
                for q in range(b.holes):
                    way = b.hole_centre(q) - a.hole_centre(p)
                    if abs(np.linalg.norm(way) - (a.width + b.width) / 2) < 1e-6 and all(
                        abs(way @ np.asarray(m.direction)) < 1e-6 for m in (a, b)
                    ):
                        found.setdefault((a.id, b.id, tuple(np.round(way, 6))), []).append((p, q))
    return {(a, *ends[k][:1], b, *ends[k][1:]) for (a, b, _), ends in found.items() for k in (0, -1)}


def test_laps_of_members_side_by_side_and_across_are_those_of_the_definition():
    rng = np.random.default_rng(3)
    eye = np.eye(3)
    for _ in range(20):
        members = [
            Member(label(k), tuple(map(float, rng.integers(0, 4, 3))), tuple(eye[rng.integers(3)]), int(n))
            for k, n in enumerate(rng.integers(1, 6, 8))
        ]
        assert {(j.a, j.a_hole, j.b, j.b_hole) for j in find_joints(members)} == all_laps(members)
