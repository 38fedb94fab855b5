"""Binary glTF, read back by trimesh and checked against the specification's own rules."""

import io
import json
import struct
from itertools import pairwise

import numpy as np
import pytest
import trimesh

from recon.errors import ReconError
from recon.frame.boxes import corners
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse, rename
from recon.frame.stock import load_stocks
from recon.workshop.export.gltf import frame_glb
from recon.workshop.export.meshes import SEGMENTS, Shape, mesh_of
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.hardware.sections import hole_volume_mm3
from tests.growing import grow_frame
from tests.workshop.trestles import trestle

STOCKS = load_stocks()
Y_UP = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]])  # z up as glTF has it: y up, right-handed (glTF 2.0, 3.4)


def scene_of(data: bytes) -> trimesh.Scene:
    return trimesh.load(io.BytesIO(data), file_type="glb")


def all_placed(data: bytes) -> dict[str, trimesh.Trimesh]:
    """Each member's and bolt's mesh in its place."""
    scene = scene_of(data)
    return {
        node: scene.geometry[name].copy().apply_transform(matrix)
        for node in scene.graph.nodes_geometry
        for matrix, name in [scene.graph[node]]
    }


def placed(data: bytes) -> dict[str, trimesh.Trimesh]:
    """Each member's mesh in its place."""
    return {name: mesh for name, mesh in all_placed(data).items() if not name.startswith("bolt ")}


def chunks(data: bytes):
    """The JSON tree and the binary chunk, by the rules of the container (glTF 2.0, section 4)."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON" and size % 4 == 0
    tree = json.loads(data[20 : 20 + size])
    binary_size, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert kind == b"BIN\0" and binary_size % 4 == 0 and 28 + size + binary_size == len(data)
    return tree, data[28 + size :]


def profile(radius: float, x: np.ndarray) -> np.ndarray:
    """Width at x of a regular polygon of SEGMENTS corners, one of them at (radius, 0)."""
    angle = 2 * np.pi * np.arange(SEGMENTS // 2 + 1) / SEGMENTS
    return 2 * np.interp(x, (radius * np.cos(angle))[::-1], (radius * np.sin(angle))[::-1])


def bore_area(radius: float) -> float:
    return SEGMENTS / 2 * radius**2 * np.sin(2 * np.pi / SEGMENTS)


def common_of_two_bores(radius: float) -> float:
    """Volume that two such bores at right angles have in common: the integral of the profile squared, which
    is a parabola between two corners, so that Simpson's rule is exact."""
    knots = np.sort(radius * np.cos(2 * np.pi * np.arange(SEGMENTS // 2 + 1) / SEGMENTS))
    total = 0.0
    for a, b in pairwise(knots):
        ends, middle = (
            profile(radius, np.array([a, b])) ** 2,
            profile(radius, np.array([(a + b) / 2]))[0] ** 2,
        )
        total += (b - a) / 6 * (ends.sum() + 4 * middle)
    return total


# The solids


@pytest.mark.parametrize("holes", [1, 2, 7])
def test_a_solid_member_lacks_just_what_its_bores_take(holes):
    shape = Shape(holes, 0.0381, 0.0381, 0.0095)
    mesh = trimesh.Trimesh(*mesh_of(shape), process=False)
    expected = shape.length * shape.width**2 - holes * (
        2 * bore_area(0.00475) * shape.width - common_of_two_bores(0.00475)
    )
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(expected, rel=1e-5)
    # Against round holes in closed form (Steinmetz solid): flats take a little less.
    stock = next(s for s in STOCKS.values() if s.id == "softwood-38")
    round_holes = shape.length * shape.width**2 - holes * hole_volume_mm3(stock) * 1e-9
    assert 0 < mesh.volume / round_holes - 1 < 0.0015


def test_a_tube_has_walls_and_four_holes_in_them_at_every_pitch():
    shape = Shape(5, 0.0381, 0.0381, 0.0111, 0.0021)
    mesh = trimesh.Trimesh(*mesh_of(shape), process=False)
    section = shape.width**2 - (shape.width - 2 * shape.wall) ** 2
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(
        shape.length * section - 5 * 4 * bore_area(0.00555) * shape.wall, rel=1e-5
    )


def test_a_plain_box_is_a_box():
    corners_, triangles = mesh_of(Shape(4, 0.025, 0.05))
    mesh = trimesh.Trimesh(corners_, triangles, process=False)
    assert len(triangles) == 12 and mesh.volume == pytest.approx(0.1 * 0.05**2) and mesh.is_watertight


# The file


@pytest.mark.parametrize("drilled", [True, False])
@pytest.mark.parametrize("frame", [trestle(), grow_frame(4, 12)], ids=["trestle", "grown"])
def test_members_are_where_they_belong_in_metres_with_y_up(frame, drilled):
    found = placed(frame_glb(frame, STOCKS, drilled))
    assert set(found) == {m.id for m in frame.members}
    for m in frame.members:
        expected = corners(m) * frame.pitch_mm / 1000 @ Y_UP.T
        assert np.allclose(found[m.id].bounds, [expected.min(axis=0), expected.max(axis=0)], atol=1e-6)
        assert found[m.id].is_watertight and found[m.id].volume > 0


# Bolts


@pytest.mark.parametrize("frame", [trestle(), grow_frame(4, 12)], ids=["trestle", "grown"])
def test_every_bolt_is_there_from_face_to_face_and_named_by_its_holes(frame):
    found = all_placed(frame_glb(frame, STOCKS))
    bolts = find_bolts(frame)
    for bolt in bolts:
        mesh = found[f"bolt {' '.join(f'{id}{hole + 1}' for id, hole in bolt.through)}"]
        ends = np.array([bolt.start, bolt.end]) * frame.pitch_mm / 1000 @ Y_UP.T
        axis = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        low, high = (float(f(mesh.vertices @ axis)) for f in (np.min, np.max))
        beyond = low - ends[0] @ axis, high - ends[1] @ axis
        assert mesh.is_watertight and -0.02 < beyond[0] < -0.005 and 0.005 < beyond[1] < 0.04
        middle = mesh.vertices.min(axis=0) / 2 + mesh.vertices.max(axis=0) / 2
        assert np.allclose(np.cross(middle - ends[0], axis), 0, atol=1e-6)  # round its axis
    assert len(found) == len(frame.members) + len(bolts)


def test_a_bolt_has_the_volume_of_its_head_shank_nut_and_washers():
    """ISO 4014, 4032 and 7089 for M8 (from memory): flats 13, head 5.3, nut 6.8, washer 16 x 8.4 x 1.6."""
    pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, 1, 3), (1, 0, 0), 8)
    mesh = all_placed(frame_glb(Frame(pair, find_joints(pair), 38.1), {}))["bolt A4 B3"]
    hexagon = np.sqrt(3) / 2 * 13**2
    expected = hexagon * (5.3 + 6.8) - bore_area(4) * 6.8 + bore_area(4) * 90
    expected += 2 * (bore_area(8) - bore_area(4.2)) * 1.6
    assert mesh.volume * 1e9 == pytest.approx(expected, rel=1e-4)
    # The nut is on, and the shank ends past it: 90 - 76.2 - 2 x 1.6 - 6.8 = 3.8 mm.
    assert np.ptp(mesh.vertices[:, 2]) * 1000 == pytest.approx(5.3 + 90, abs=1e-3)


def test_plain_boxes_come_without_bolts():
    assert set(all_placed(frame_glb(trestle(), STOCKS, drilled=False))) == {m.id for m in trestle().members}


def test_a_brace_lies_at_its_angle():
    brace = Member("A", (1.0, 2.0, 3.0), (0.6, 0.0, 0.8), 6, on_lattice=False)
    mesh = placed(frame_glb(Frame((brace,), (), 40.0), {}, drilled=False))["A"]
    found = {tuple(p) for p in np.round(mesh.vertices, 5).tolist()}
    assert found == {tuple(p) for p in np.round(corners(brace) * 0.04 @ Y_UP.T, 5).tolist()}


def test_bores_go_through_the_faces_that_have_the_holes():
    frame = Frame(
        (Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 3, stock="softwood-38"),),
        (),
        38.1,
        StockUse("softwood-38"),
    )
    mesh = placed(frame_glb(frame, STOCKS))["A"]
    rims = mesh.vertices[np.isclose(np.abs(mesh.vertices[:, 0]), 0.01905, atol=1e-6)]  # on the faces across x
    rims = rims[np.abs(rims[:, 2]) < 0.018]
    heights = np.round(rims[:, 1] / 0.0381)
    assert set(heights) == {0.0, 1.0, 2.0}
    assert np.allclose(np.hypot(rims[:, 1] - heights * 0.0381, rims[:, 2]), 0.00475, atol=1e-6)


def test_the_file_keeps_the_rules_of_the_format():
    """glTF 2.0 (Khronos Group, 2021), sections 3.6.2 and 5.1: alignment, bounds, and no view beyond its
    buffer."""
    tree, binary = chunks(frame_glb(trestle(), STOCKS))
    assert tree["asset"]["version"] == "2.0" and tree["buffers"] == [
        {"byteLength": tree["buffers"][0]["byteLength"]}
    ]
    assert len(binary) - tree["buffers"][0]["byteLength"] in range(4)
    sizes = {5126: 4, 5125: 4}
    for accessor in tree["accessors"]:
        view = tree["bufferViews"][accessor["bufferView"]]
        count = accessor["count"] * {"VEC3": 3, "SCALAR": 1}[accessor["type"]]
        assert view["byteLength"] == count * sizes[accessor["componentType"]] and view["byteOffset"] % 4 == 0
        assert view["byteOffset"] + view["byteLength"] <= tree["buffers"][0]["byteLength"]
        values = np.frombuffer(
            binary, {5126: "<f4", 5125: "<u4"}[accessor["componentType"]], count, view["byteOffset"]
        )
        if accessor["type"] == "VEC3":
            assert np.array_equal(values.reshape(-1, 3).min(axis=0), np.float32(accessor["min"]))
            assert np.array_equal(values.reshape(-1, 3).max(axis=0), np.float32(accessor["max"]))
    for mesh in tree["meshes"]:
        (primitive,) = mesh["primitives"]
        points = tree["accessors"][primitive["attributes"]["POSITION"]]["count"]
        view = tree["bufferViews"][tree["accessors"][primitive["indices"]]["bufferView"]]
        assert np.frombuffer(binary, "<u4", view["byteLength"] // 4, view["byteOffset"]).max() < points
        assert primitive["material"] < len(tree["materials"])
    children = [child for node in tree["nodes"] for child in node.get("children", ())]
    assert sorted(children) == list(range(1, len(tree["nodes"])))  # each node has one place in the tree


def test_members_of_one_kind_share_a_mesh():
    tree, _ = chunks(frame_glb(trestle(), STOCKS))
    members = [node for node in tree["nodes"] if "holes" in node.get("extras", {})]
    assert len(members) == 12 and len({node["mesh"] for node in members}) == 3  # 12, 16 and 23 holes long


def test_any_label_and_name_is_kept():
    frame = trestle(name="Bock </script> Ω 梁")
    frame = rename(frame, {m.id: f'{m.id}"<é梁' for m in frame.members})
    tree, _ = chunks(frame_glb(frame, STOCKS, drilled=False))
    assert tree["nodes"][0]["name"] == frame.name
    assert {n["name"] for n in tree["nodes"][1:]} == {m.id for m in frame.members}


def test_a_frame_without_size_or_members_is_refused_in_words():
    with pytest.raises(ReconError, match="pitch is not known"):
        frame_glb(trestle(pitch_mm=None), STOCKS)
    with pytest.raises(ReconError, match="no members"):
        frame_glb(Frame((), pitch_mm=38.1), STOCKS)
