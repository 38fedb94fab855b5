import copy
import json
import os
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.bench.score import score
from recon.errors import ReconError
from recon.frame.files import frame_from_dict, frame_to_dict, frame_to_text, load_frame, save_frame, schema
from recon.frame.fitting import Fitting
from recon.frame.joints import find_joints
from recon.frame.model import End, EndChoice, Frame, Photo, StockUse, rename
from recon.frame.squareness import OffPlace, Racked
from recon.frame.stock import load_stocks
from recon.geometry.camera import Camera
from tests.growing import grow_frame
from tests.truth import frame_from_truth

POST = {"first": [0, 0, 0], "direction": [0, 0, 1], "holes": 12}
RAIL = {"first": [-1, -1, 3], "direction": [1, 0, 0], "holes": 8}
BY_HAND = {"pitch_mm": 38.1, "members": [POST, RAIL]}
CAMERA = {
    "f": 1500.5,
    "cx": 640.0,
    "cy": 480.0,
    "k1": -0.1,
    "k2": 0.01,
    "R": np.eye(3).tolist(),
    "t": [1.0, 2.0, 40.0],
}


CHOICES = (EndChoice(7, 0.6), EndChoice(9, 0.35, "B"))


def full_frame(seed=4):
    """A frame that uses every field."""
    frame = grow_frame(seed, 6)
    off = OffPlace((0.05, 0.0, -0.02), (0.1, 0.4, 0.0), (0.01, 0.02, 0.01), (0.1, 0.1, 0.2))
    ends = (End("seen"), End("hidden", 2, CHOICES))
    members = [
        replace(m, confidence=0.5 + i / 20, seen=3 * i, ends=ends, off_place=off)
        for i, m in enumerate(frame.members)
    ]
    members[-1] = replace(members[-1], stock=None, ends=(End("cut", 5), End("seen")))
    bolts = (("seen", ""), ("assumed", ""), ("none", ""), ("said", "person"), ("none", "person"))
    joints = [replace(j, bolt=bolts[i % 5][0], bolt_by=bolts[i % 5][1]) for i, j in enumerate(frame.joints)]
    photos = (
        Photo("slip.jpg", (1280, 960), True, "", Camera.from_dict(CAMERA)),
        Photo("tide.jpg", (1280, 960), False, "no row in it"),
    )
    return Frame(
        tuple(members),
        tuple(joints),
        38.1,
        StockUse("steel-38", "recognised", 0.93),
        photos,
        ("The far end of F was out of sight.",),
        "Slip cradle",
        Racked((0.2, 1.2, -0.1), (0.1, 0.1, 0.15)),
        (
            Fitting(
                "F1",
                "foot",
                ((members[0].id, 0),),
                (0.0, 0.0, -1.0),
                (40.0, 40.0, 25.0),
                3.0,
                "M8",
                0.1,
                (1, 2),
            ),
        ),
    )


def changed(**fields):
    """BY_HAND with fields of its second member changed; None takes one out."""
    data = copy.deepcopy(BY_HAND)
    for name, value in fields.items():
        if value is None:
            del data["members"][1][name]
        else:
            data["members"][1][name] = value
    return data


def whole(**fields):
    return {**copy.deepcopy(BY_HAND), **fields}


# Round trips


@settings(max_examples=30)
@given(st.integers(0, 10**6), st.sampled_from([1.0, 1.5, 1.75]))
def test_a_saved_frame_is_loaded_as_it_was(tmp_path_factory, seed, width):
    path = tmp_path_factory.mktemp("frames") / "frame.json"
    frame = grow_frame(seed, 8, width)
    save_frame(frame, path)
    assert load_frame(path) == frame


def test_every_field_survives(tmp_path):
    save_frame(full_frame(), tmp_path / "f.json")
    assert load_frame(tmp_path / "f.json") == full_frame()


def test_a_brace_survives(tmp_path):
    data = changed(first=[-1.2, 1, 3.4], direction=[0.6, 0, 0.8])
    frame = frame_from_dict(data)
    assert [m.on_lattice for m in frame.members] == [True, False]
    assert frame_from_dict(frame_to_dict(frame)) == frame


def test_numbers_of_numpy_are_written_as_plain_ones():
    frame = grow_frame(1, 3)
    odd = replace(
        frame,
        members=tuple(
            replace(m, first=np.array(m.first), holes=np.int64(m.holes), width=np.float32(1))
            for m in frame.members
        ),
    )
    assert json.loads(frame_to_text(odd)) == frame_to_dict(frame)


def test_saved_files_keep_to_the_schema():
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(frame_to_dict(full_frame()), schema())
    assert set(frame_to_dict(full_frame())) == set(schema()["properties"])
    members = schema()["properties"]["members"]["items"]["properties"]
    assert set(frame_to_dict(full_frame())["members"][0]) == set(members)


def test_the_scorer_reads_a_saved_frame(tmp_path):
    truth = {
        "pitch_mm": 38.1,
        "width_mm": 38.1,
        "stock": "steel",
        "photos": [],
        "sticks": [
            {"axis": 2, "at": [0, 0, 0], "holes": 12},
            {"axis": 0, "at": [-1, -1, 3], "holes": 8},
            {"axis": 1, "at": [-1, -1, 4], "holes": 6},
        ],
        "bolts": [{"a": 0, "a_hole": 3, "b": 1, "b_hole": 1, "axis": 1}],
    }
    frame = frame_from_truth(truth)
    assert [j.bolt for j in frame.joints] == ["seen", "none", "none"]
    save_frame(frame, tmp_path / "f.json")
    result = score(json.loads((tmp_path / "f.json").read_text()), truth)
    assert result["frame_exact"] and result["edits"] == 0 and result["pitch_err"] == 0
    short = replace(frame, members=(replace(frame.members[0], holes=11), *frame.members[1:]))
    assert score(frame_to_dict(short), truth)["wrong"] == 1


# Files written by hand


def test_members_and_pitch_are_enough():
    frame = frame_from_dict(BY_HAND)
    assert [m.id for m in frame.members] == ["A", "B"]
    assert [m.width for m in frame.members] == [1, 1] and frame.pitch_mm == 38.1
    assert frame.joints == find_joints(frame.members) and len(frame.joints) == 1
    assert all(m.on_lattice and m.confidence == 1 and m.ends == (End(), End()) for m in frame.members)


def test_missing_labels_are_those_left_over():
    assert [m.id for m in frame_from_dict({"members": [POST, {**RAIL, "id": "A"}]}).members] == ["B", "A"]


def test_pitch_and_width_come_from_the_stock():
    rail = {**RAIL, "first": [-1, -1.5, 3]}
    frame = frame_from_dict({"stock": {"id": "post-1.5-083"}, "members": [POST, rail]})
    assert (
        frame.pitch_mm == 25.4 and [m.width for m in frame.members] == [1.5, 1.5] and len(frame.joints) == 1
    )


def test_an_empty_list_of_joints_means_that_there_are_none():
    assert frame_from_dict(whole(joints=[])).joints == ()


def test_what_a_joint_leaves_out_is_filled_in():
    (joint,) = frame_from_dict(whole(joints=[{"a": "B", "a_hole": 1, "b": "A", "b_hole": 3}])).joints
    assert joint.axis == (0, 1, 0) and joint.bolt == "assumed" and not joint.three_way


def test_an_axis_told_from_b_to_a_is_turned_round():
    joint = {"a": "B", "a_hole": 1, "b": "A", "b_hole": 3, "axis": [0, -1, 0]}
    assert frame_from_dict(whole(joints=[joint])).joints[0].axis == (0, 1, 0)


def test_a_rounded_direction_is_made_a_unit_vector():
    member = frame_from_dict(changed(first=[20, 0, 0], direction=[0.7, 0.7, 0])).members[1]
    assert np.linalg.norm(member.direction) == pytest.approx(1, abs=1e-12)


def test_a_users_own_stock_is_known(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        '[[stock]]\nid = "larch"\nmaterial = "softwood"\npitch_mm = 40\nwidth_mm = 60\nhole_mm = 12\n'
        'density_kg_m3 = 590\nsource = "the yard"\n'
    )
    data = {"members": [{**POST, "stock": "larch"}]}
    assert frame_from_dict(data, stocks=load_stocks(own)).members[0].width == 1.5
    with pytest.raises(ReconError, match="member A: stock 'larch' is not in the stock list"):
        frame_from_dict(data)


def test_a_byte_order_mark_does_no_harm(tmp_path):
    (tmp_path / "f.json").write_text(json.dumps(BY_HAND), encoding="utf-8-sig")
    assert len(load_frame(tmp_path / "f.json").members) == 2


# Nonsense


@pytest.mark.parametrize(
    "data, words",
    [
        (changed(id="C", holes=0), ["member C: 'holes' is 0; a member has at least 1 hole"]),
        (changed(holes=2.5), ["member 2: 'holes' is 2.5", "whole number"]),
        (changed(holes="twelve"), ["'holes' is \"twelve\"", "whole number"]),
        (changed(holes=True), ["'holes' is true"]),
        (changed(holes=10**30), ["'holes' is 1000", "at most 1000"]),
        (changed(holes=None), ["member 2: 'holes' is missing"]),
        (changed(widht=1), ["member 2: there is no field 'widht'; perhaps 'width' is meant"]),
        (changed(first=[0, 1]), ["'first' is [0, 1]", "[x, y, z] in pitches"]),
        (changed(first=[0, 1, "up"]), ["member 2: 'first [3]' is \"up\""]),
        (changed(first=[0, 1, float("nan")]), ["member 2: 'first [3]' is not a finite number"]),
        (changed(first=[0, 1, float("inf")]), ["'first [3]' is not a finite number"]),
        (changed(first=[0, 1, 10**400]), ["'first [3]'", "-1000000 to 1000000"]),
        (changed(direction=[0, 0, 0]), ["member B: 'direction' is zero", "[0, 0, 1]"]),
        (changed(direction=[3, 4, 0]), ["member B: 'direction' is 5 long", "here [0.6, 0.8, 0]"]),
        (changed(first=[-1, 0, 3]), ["members A and B take the same room at [0, 0, 3]", "move or shorten"]),
        (
            changed(stock="stel-38"),
            ["member B: stock 'stel-38' is not in the stock list; perhaps 'steel-38'"],
        ),
        (changed(confidence=1.5), ["'confidence' is 1.5", "0 to 1"]),
        (changed(ends=[{"state": "seen"}]), ["'ends' is", "two ends"]),
        (
            changed(ends=[{"state": "seen"}, {"state": "lost"}]),
            ["member 2, end 2: 'state' is \"lost\"", '"hidden"'],
        ),
        (changed(id="A\n"), ["member 2: 'id' is", "letters and digits"]),
        (changed(id=""), ["member 2: 'id' is"]),
        (
            whole(members=[{**POST, "id": "Q"}, {**RAIL, "id": "Q"}]),
            ["members 1 and 2 of the list are both called 'Q'"],
        ),
        (whole(members=[]), ["'members' is []"]),
        (whole(members=[POST, 7]), ["member 2", "a member is an object"]),
        (whole(stock={"id": "zinc"}), ["stock 'zinc' is not in the stock list"]),
        (whole(pitch_mm=-1), ["'pitch_mm' is -1", "1 to 1000 mm"]),
        (whole(version=2), ["newer program", "version 2"]),
        (whole(version=10**6000), ["newer program"]),
        (whole(version=0), ["'version' is 0"]),
        (whole(format="drawing"), ["not a frame file"]),
        (
            whole(joints=[{"a": "A", "a_hole": 3, "b": "C", "b_hole": 1}]),
            ["joint 1: 'b' is 'C', and there is no such member"],
        ),
        (
            whole(joints=[{"a": "A", "a_hole": 3, "b": "B", "b_hole": 8}]),
            ["'b_hole' is 8, but member B has 8 holes", "0 to 7"],
        ),
        (
            whole(joints=[{"a": "A", "a_hole": -1, "b": "B", "b_hole": 1}]),
            ["joint 1 (A to B): 'a_hole' is -1"],
        ),
        (
            whole(joints=[{"a": "A", "a_hole": 3, "b": "B", "b_hole": 5}]),
            ["hole 4 of A and hole 6 of B are 4.123 pitches apart"],
        ),
        (whole(joints=[{"a": "A", "a_hole": 3, "b": "A", "b_hole": 4}]), ["joins member A to itself"]),
        (
            whole(joints=[{"a": "A", "a_hole": 3, "b": "B", "b_hole": 1, "axis": [0, 0, 0]}]),
            ["joint 1: 'axis' is zero"],
        ),
        (whole(photos=[{"file": "a.jpg", "size": [0, 10]}]), ["photo 1: 'size [1]' is 0"]),
        (
            whole(photos=[{"file": "a.jpg", "size": [10, 10], "camera": {**CAMERA, "f": 0}}]),
            ["photo 1, camera: 'f' is 0"],
        ),
        ([], ["a frame file is a JSON object"]),
        (None, ["a frame file is a JSON object"]),
        ({}, ["'members' is missing"]),
    ],
)
def test_nonsense_is_told_with_place_and_remedy(data, words):
    with pytest.raises(ReconError) as error:
        frame_from_dict(data, "slip.json")
    assert all(word in str(error.value) for word in ["slip.json: ", *words]), str(error.value)
    assert error.value.exit_code != 0


def test_further_faults_are_counted():
    with pytest.raises(ReconError, match=r"member 1: .*\(1 more like it.\)"):
        frame_from_dict({"members": [{**POST, "holes": 0}, {**RAIL, "holes": 0}]})


def test_a_brace_in_anothers_room_is_left_to_the_checks():
    assert len(frame_from_dict(changed(first=[-1, 0, 3], direction=[0.6, 0, 0.8])).members) == 2


@pytest.mark.parametrize(
    "text, words",
    [
        ('{"members": [\n {"first": [0, 0, 0] "holes": 3}]}', ["line 2, column 22", "not JSON"]),
        ("", ["line 1, column 1", "not JSON"]),
        ('{"members": NaN}', ["NaN is not a number"]),
        ('{"pitch_mm": 38.1, "pitch_mm": 40, "members": []}', ["'pitch_mm' is given twice"]),
        ("[" * 100000, ["too deep"]),
        ('{"members": ' + "9" * 5000 + "}", ["too many digits"]),
        ('{"pitch_mm": 1e999, "members": []}', ["'pitch_mm' is not a finite number"]),
    ],
)
def test_broken_json_is_told_with_its_place(tmp_path, text, words):
    (tmp_path / "slip.json").write_text(text)
    with pytest.raises(ReconError) as error:
        load_frame(tmp_path / "slip.json")
    assert all(word in str(error.value) for word in ["slip.json", *words]), str(error.value)


@pytest.mark.parametrize(
    "name, words", [("none.json", "no such file"), (".", "this is a folder"), ("photo.jpg", "not text")]
)
def test_what_is_no_frame_file_is_told(tmp_path, name, words):
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0 JFIF")
    with pytest.raises(ReconError, match=words):
        load_frame(tmp_path / name)


# Writing


def test_nothing_is_written_over_unasked(tmp_path):
    path = tmp_path / "f.json"
    path.write_text("mine")
    with pytest.raises(ReconError, match="exists already"):
        save_frame(full_frame(), path)
    assert path.read_text() == "mine"
    save_frame(full_frame(), path, overwrite=True)
    assert load_frame(path) == full_frame()
    assert os.listdir(tmp_path) == ["f.json"]


def test_a_frame_that_cannot_be_written_leaves_the_old_file(tmp_path):
    path = tmp_path / "f.json"
    save_frame(full_frame(), path)
    with pytest.raises(ReconError, match="not finite"):
        save_frame(replace(full_frame(), pitch_mm=float("nan")), path, overwrite=True)
    assert load_frame(path) == full_frame()
    with pytest.raises(ReconError, match="folder does not exist"):
        save_frame(full_frame(), tmp_path / "none" / "f.json")


# Mutations of a valid file

ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 2000),
    st.sampled_from([10**400, -(10**20)]),
    st.floats(),
    st.text(max_size=5),
    st.just([]),
    st.just({}),
    st.lists(st.floats(-9, 9), max_size=4),
)


def _spots(value):
    """Every (container, key) in a nest of dicts and lists."""
    for key in list(value) if isinstance(value, dict) else range(len(value)):
        yield value, key
        if isinstance(value[key], (dict, list)):
            yield from _spots(value[key])


@settings(max_examples=250)
@given(
    st.lists(
        st.tuples(st.integers(0, 10**6), st.sampled_from(["set", "drop", "copy", "rename"]), ODD),
        min_size=1,
        max_size=3,
    )
)
def test_no_change_to_a_frame_file_brings_a_traceback(mutations):
    data = frame_to_dict(full_frame())
    for where, how, value in mutations:
        spots = list(_spots(data))
        if not spots:
            break
        holder, key = spots[where % len(spots)]
        if how == "set":
            holder[key] = value
        elif how == "drop":
            del holder[key]
        elif how == "copy" and isinstance(holder, list):
            holder.append(copy.deepcopy(holder[key]))
        elif how == "rename" and isinstance(holder, dict):
            holder[str(value)] = holder.pop(key)
    try:
        frame = frame_from_dict(data, "slip.json")
    except ReconError as error:
        assert str(error).startswith("slip.json")
    else:
        assert frame_from_dict(json.loads(frame_to_text(frame))) == frame


TEXT = frame_to_text(full_frame())


@settings(max_examples=200)
@given(st.integers(0, len(TEXT)), st.integers(0, 40), st.binary(max_size=6))
def test_no_damage_to_the_text_brings_a_traceback(tmp_path_factory, start, length, other):
    path = tmp_path_factory.mktemp("damaged") / "slip.json"
    path.write_bytes(TEXT[:start].encode() + other + TEXT[start + length :].encode())
    try:
        assert load_frame(path).members
    except ReconError as error:
        assert str(path) in str(error)


# A person's word on bolts, and files of older programs


def lap(**fields):
    """Bolt and word of the one joint of a frame of two members, as a file has it."""
    members = [
        {"first": [0, 0, 0], "direction": [0, 0, 1], "holes": 5},
        {"first": [-2, 1, 2], "direction": [1, 0, 0], "holes": 5},
    ]
    joint = {"a": "A", "a_hole": 2, "b": "B", "b_hole": 2, **fields}
    (found,) = frame_from_dict({"members": members, "joints": [joint]}).joints
    return found.bolt, found.bolt_by


def test_a_persons_word_on_a_bolt_is_read_and_never_stands_for_seen():
    assert lap(bolt="said") == lap(bolt="said", bolt_by="person") == ("said", "person")
    assert lap(bolt="seen", bolt_by="person") == ("said", "person")
    assert lap(bolt="none", bolt_by="person") == ("none", "person")
    assert lap(bolt="assumed", bolt_by="person") == lap() == ("assumed", "")


def test_files_of_before_read_as_they_did_and_are_written_without_new_fields():
    for bolt in ("seen", "assumed", "none"):
        assert lap(bolt=bolt) == (bolt, "")
    plain = full_frame()
    members = (replace(m, ends=(End("seen"), End("hidden", 2))) for m in plain.members)
    joints = (replace(j, bolt="seen", bolt_by="") for j in plain.joints)
    text = frame_to_text(replace(plain, members=tuple(members), joints=tuple(joints)))
    assert "bolt_by" not in text and "choices" not in text


def test_a_choice_of_an_end_follows_its_member_through_new_labels():
    frame = full_frame()
    names = {m.id: f"N{i}" for i, m in enumerate(frame.members)}
    ends = rename(frame, names).members[0].ends
    assert ends[1].choices == (EndChoice(7, 0.6), EndChoice(9, 0.35, names["B"]))


def test_a_file_without_squareness_is_read_and_written_without():
    frame = frame_from_dict(BY_HAND)
    assert frame.racked is None and frame.members[0].off_place is None
    written = frame_to_dict(frame)
    assert "racked" not in written and "off_place" not in written["members"][0]
