"""Exports as text: read back by the csv module and by the frame file's own reader."""

import csv
import io
import json
from collections import Counter
from xml.etree import ElementTree

import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame.files import frame_from_dict, frame_to_dict
from recon.frame.model import Frame, rename
from recon.frame.stock import load_stocks
from recon.workshop.export.frame_tables import JOINT_COLUMNS, MEMBER_COLUMNS
from recon.workshop.export.registry import KINDS, export
from recon.workshop.hardware.bolts import find_bolts
from tests.growing import grow_frame
from tests.workshop.trestles import scaffold, trestle

STOCKS = load_stocks()


def rows(frame, to):
    return list(csv.DictReader(io.StringIO(export(frame, STOCKS, to).decode("utf-8"), newline="")))


@pytest.mark.parametrize("frame", [trestle(), grow_frame(2, 12)], ids=["trestle", "grown"])
def test_joints_are_told_with_holes_counted_from_1_and_their_place(frame):
    found = rows(frame, "joints")
    assert tuple(found[0]) == JOINT_COLUMNS and len(found) == len(frame.joints)
    for row, j in zip(found, frame.joints):
        assert (row["a"], int(row["a_hole"]), row["b"], int(row["b_hole"]), row["bolt"]) == (
            j.a,
            j.a_hole + 1,
            j.b,
            j.b_hole + 1,
            j.bolt,
        )
        place = np.array([float(row[k]) for k in "xyz"])
        axis = np.array([float(row[f"axis_{k}"]) for k in "xyz"])
        assert np.allclose(
            place - axis * frame.member(j.a).width / 2, frame.member(j.a).hole_centre(j.a_hole), atol=1e-3
        )


def test_laps_that_share_a_bolt_have_its_number():
    frame = scaffold(2, 1, 1)
    numbers = Counter(row["bolt_number"] for row in rows(frame, "joints"))
    assert (
        sorted(numbers.values()) == sorted(len(b.joints) for b in find_bolts(frame))
        and max(numbers.values()) == 2
    )


def test_members_are_told_with_their_length_in_mm_and_inches():
    found = rows(trestle(), "members")
    assert tuple(found[0]) == MEMBER_COLUMNS and len(found) == 12
    post = next(row for row in found if row["label"] == "A")
    assert (post["holes"], post["length_mm"], post["length_in"], post["direction_z"]) == (
        "16",
        "609.6",
        "24 in",
        "1",
    )
    assert rows(trestle(pitch_mm=None), "members")[0]["length_mm"] == ""


def test_parts_are_the_parts_list():
    found = rows(trestle(), "parts")
    assert sum(int(row["count"]) for row in found if row["item"] == "member") == 12


def test_a_label_that_a_spreadsheet_would_run_stays_text():
    frame = trestle()
    frame = rename(frame, {m.id: f"={m.id}1+1" for m in frame.members})
    assert all(row["label"].startswith("'=") for row in rows(frame, "members"))


def test_the_frame_file_written_anew_is_the_same_frame():
    frame = trestle()
    data = json.loads(export(frame, STOCKS, "json"))
    assert frame_to_dict(frame_from_dict(data)) == frame_to_dict(frame)


def test_svg_is_the_sheet_of_three_views():
    tree = ElementTree.fromstring(export(trestle(), STOCKS, "svg", angle="third"))
    words = {t.text for t in tree.iter("{http://www.w3.org/2000/svg}text")}
    assert {"Front view", "Top view", "Right view", "third angle"} <= words


@pytest.mark.parametrize("to", KINDS)
def test_an_empty_frame_is_refused_in_words(to):
    with pytest.raises(ReconError, match="no members"):
        export(Frame(()), STOCKS, to)


def test_an_unknown_kind_is_refused_in_words():
    with pytest.raises(
        ReconError, match="'stl' is nothing that a frame can be exported to; choose one of dxf"
    ):
        export(trestle(), STOCKS, "stl")
