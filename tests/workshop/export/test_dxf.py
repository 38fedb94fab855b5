"""DXF, read back by ezdxf: in mm, at full size, with a layer for each view and each member."""

import io
from collections import Counter

import ezdxf
import ezdxf.bbox
import pytest

from recon.errors import ReconError
from recon.frame.model import Frame, rename
from recon.frame.stock import load_stocks
from recon.workshop.drawing.projections import ViewBoard, drawn_hole
from recon.workshop.export.dxf import frame_dxf, layer_names
from tests.workshop.trestles import trestle

STOCKS = load_stocks()
LINES = "LINE CIRCLE"


def read(frame, angle="first"):
    return ezdxf.read(io.StringIO(frame_dxf(frame, STOCKS, angle).decode("utf-8")))


def spans(document, view):
    lines = list(document.blocks.get(view).query("LINE"))
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


def test_every_open_hole_in_sight_is_a_circle_of_its_size_on_its_members_layer():
    frame = trestle()
    document, board, names = read(frame), ViewBoard(frame, drawn_hole(frame, STOCKS)), layer_names(frame)
    for view in ("Front", "Top", "Left"):
        filled = {(hole.member, hole.number) for bolt, hole, _ in board.tags(view) if bolt}
        expected = Counter(
            names[frame.members[h.member].id]
            for key, h in board.scene(view).open_holes.items()
            if key not in filled
        )
        circles = [c for c in document.blocks.get(view.upper()).query("CIRCLE") if c.dxf.layer != "BOLTS"]
        assert Counter(c.dxf.layer for c in circles) == expected
        assert {round(c.dxf.radius, 6) for c in circles} == {9.5 / 2}  # softwood-38 has 9.5 mm holes


def test_views_and_members_have_layers_of_their_own():
    frame = trestle()
    document = read(frame)
    layers = {layer.dxf.name for layer in document.layers}
    assert {f"MEMBER {m.id}" for m in frame.members} <= layers
    assert {i.dxf.layer: i.dxf.name for i in document.modelspace()} == {
        "VIEW FRONT": "FRONT",
        "VIEW TOP": "TOP",
        "VIEW LEFT": "LEFT",
    }
    used = {e.dxf.layer for view in ("FRONT", "TOP", "LEFT") for e in document.blocks.get(view).query(LINES)}
    assert {f"MEMBER {m.id}" for m in frame.members} <= used <= layers
    hidden = [e for e in document.blocks.get("FRONT").query("LINE") if e.dxf.linetype == "HIDDEN"]
    assert hidden and "HIDDEN" in document.linetypes


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


def test_labels_that_dxf_does_not_allow_and_labels_that_differ_in_capitals_get_layers_all_the_same():
    labels = ["a", "A", "x/y", "x|y", "梁", "<>", "*", "G", "H", "I", "J", "K"]
    frame = trestle()
    frame = rename(frame, {m.id: n for m, n in zip(frame.members, labels)})
    document = read(frame)
    assert not document.audit().errors
    names = layer_names(frame)
    assert len({n.casefold() for n in names.values()}) == 12 and names["梁"] == "MEMBER 梁"
    words = {w.strip("()") for t in document.blocks.get("FRONT").query("TEXT") for w in t.dxf.text.split()}
    assert {"梁", "x/y", "<>"} <= words


def test_a_frame_without_size_or_members_is_refused_in_words():
    with pytest.raises(ReconError, match="pitch is not known"):
        frame_dxf(trestle(pitch_mm=None), STOCKS)
    with pytest.raises(ReconError, match="no members"):
        frame_dxf(Frame(()), STOCKS)
