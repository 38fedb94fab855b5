"""DXF, read back by ezdxf: in mm, at full size, layers by view and stock, blocks for members and holes."""

import io
from collections import Counter
from dataclasses import replace

import ezdxf
import ezdxf.bbox
import pytest

from recon.errors import ReconError
from recon.frame.model import Frame, rename
from recon.frame.stock import load_stocks
from recon.workshop.drawing.projections import ViewBoard, drawn_hole
from recon.workshop.export.dxf import frame_dxf
from tests.workshop.frames import gate
from tests.workshop.trestles import trestle

STOCKS = load_stocks()


def read(frame, angle="first"):
    return ezdxf.read(io.StringIO(frame_dxf(frame, STOCKS, angle).decode("utf-8")))


def members_of(document, view):
    """The blocks of the members in a view, and the layer that each is on."""
    inserts = document.blocks.get(view).query("INSERT")
    assert all(i.dxf.insert == (0, 0, 0) for i in inserts)
    return [(i.dxf.layer, document.blocks.get(i.dxf.name)) for i in inserts]


def spans(document, view):
    lines = [line for _, block in members_of(document, view) for line in block.query("LINE")]
    box = ezdxf.bbox.extents(lines)
    return box.size.x, box.size.y


def test_ezdxf_finds_nothing_to_mend():
    for angle in ("first", "third"):
        audit = read(trestle(), angle).audit()
        assert not audit.errors and not audit.fixes


def test_it_is_in_mm_at_full_size():
    frame = trestle()
    document = read(frame)
    assert (
        document.header["$INSUNITS"] == 4 and document.header["$MEASUREMENT"] == 1
    )  # 4: millimetres (DXF reference, from memory)
    # 23 x 12 x 16 pitches of 38.1 mm.
    assert spans(document, "FRONT") == pytest.approx((23 * 38.1, 16 * 38.1), abs=0.01)
    assert spans(document, "TOP") == pytest.approx((23 * 38.1, 12 * 38.1), abs=0.01)
    assert spans(document, "LEFT") == pytest.approx((12 * 38.1, 16 * 38.1), abs=0.01)


def test_every_open_hole_in_sight_is_an_insert_of_its_size_in_its_members_block():
    frame = trestle()
    document, board = read(frame), ViewBoard(frame, drawn_hole(frame, STOCKS))
    for view in ("Front", "Top", "Left"):
        filled = {(hole.member, hole.number) for bolt, hole, _ in board.tags(view) if bolt}
        expected = Counter(
            f"{view.upper()} {frame.members[h.member].id}"
            for key, h in board.scene(view).open_holes.items()
            if key not in filled
        )
        found = {block.name: block.query("INSERT") for _, block in members_of(document, view.upper())}
        assert {name: len(holes) for name, holes in found.items() if holes} == expected
        assert {hole.dxf.name for holes in found.values() for hole in holes} == {"HOLE 9.5 mm"}
    (circle,) = document.blocks.get("HOLE 9.5 mm")
    assert circle.dxf.radius == pytest.approx(9.5 / 2) and circle.dxf.layer == "0"


def test_holes_of_a_gate_are_as_many_as_one_counts_by_hand():
    """From the front: rails C and D have 11 holes, 2 with bolts, and cover 2 of the 12 of each of posts A and
    B, and A has a bolt to sill E behind it, of whose 6 holes A covers 1."""
    document = read(gate())
    counts = {block.name: len(block.query("INSERT")) for _, block in members_of(document, "FRONT")}
    assert counts == {"FRONT A": 9, "FRONT B": 10, "FRONT C": 9, "FRONT D": 9, "FRONT E": 5}


def test_each_stock_has_a_layer_and_each_member_its_holes_size():
    frame = gate()
    members = [replace(m, stock="aluminium-38" if m.id in "AB" else "softwood-38") for m in frame.members]
    document = read(replace(frame, members=tuple(members)))
    layers = {layer.dxf.name for layer in document.layers}
    assert {name for name in layers if name.startswith("STOCK")} == {
        "STOCK aluminium-38",
        "STOCK softwood-38",
    }
    for layer, block in members_of(document, "FRONT"):
        stock = STOCKS[layer.removeprefix("STOCK ")]
        assert stock.id == next(m.stock for m in members if block.name == f"FRONT {m.id}")
        assert {e.dxf.layer for e in block} == {layer}
        assert {i.dxf.name for i in block.query("INSERT")} == {f"HOLE {stock.hole_mm:.4g} mm"}


def test_views_have_layers_of_their_own_and_hidden_lines_are_dashed():
    document = read(trestle())
    assert {i.dxf.layer: i.dxf.name for i in document.modelspace()} == {
        "VIEW FRONT": "FRONT",
        "VIEW TOP": "TOP",
        "VIEW LEFT": "LEFT",
    }
    lines = [line for _, block in members_of(document, "FRONT") for line in block.query("LINE")]
    assert any(e.dxf.linetype == "HIDDEN" for e in lines) and "HIDDEN" in document.linetypes


@pytest.mark.parametrize("angle, below, side", [("first", True, "LEFT"), ("third", False, "RIGHT")])
def test_views_lie_as_their_projection_wants(angle, below, side):
    document = read(trestle(), angle)
    at = {i.dxf.name: i.dxf.insert for i in document.modelspace()}
    assert set(at) == {"FRONT", "TOP", side}
    assert (
        (at["TOP"].y < at["FRONT"].y) is below and at[side].x > at["FRONT"].x and at[side].y == at["FRONT"].y
    )
    box = ezdxf.bbox.extents(document.modelspace().query("INSERT[name=='FRONT']"))
    assert at["FRONT"].x == at["FRONT"].y == 0 and box.has_data


def test_labels_and_tags_are_text():
    frame = trestle()
    board = ViewBoard(frame, drawn_hole(frame, STOCKS))
    document = read(frame)
    for view in ("Front", "Top", "Left"):
        words = {t.dxf.text for t in document.blocks.get(view.upper()).query("TEXT")}
        assert {" ".join(f"{id}{n}" for id, n in through) for _, _, through in board.tags(view)} <= words
        assert {m.id for m in frame.members} <= {w.strip("()") for t in words for w in t.split()}


def test_labels_that_dxf_does_not_allow_and_labels_that_differ_in_capitals_get_blocks_all_the_same():
    labels = ["a", "A", "x/y", "x|y", "梁", "<>", "*", "G", "H", "I", "J", "K"]
    frame = trestle()
    frame = rename(frame, {m.id: n for m, n in zip(frame.members, labels)})
    document = read(frame)
    assert not document.audit().errors
    names = {block.name.casefold() for _, block in members_of(document, "FRONT")}
    assert len(names) == 12 and "front 梁" in names
    words = {w.strip("()") for t in document.blocks.get("FRONT").query("TEXT") for w in t.dxf.text.split()}
    assert {"梁", "x/y", "<>"} <= words


def test_a_frame_without_size_or_members_is_refused_in_words():
    with pytest.raises(ReconError, match="pitch is not known"):
        frame_dxf(trestle(pitch_mm=None), STOCKS)
    with pytest.raises(ReconError, match="no members"):
        frame_dxf(Frame(()), STOCKS)
