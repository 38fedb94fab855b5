"""STEP: names and places by a reader of the text (ISO 10303-21), solids as build123d reads them back.

All but the refusal needs the extra `step`.
"""

import re
import sys

import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame.boxes import corners
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.frame.stock import load_stocks
from recon.workshop.export.step import frame_step
from recon.workshop.hardware.bolts import find_bolts
from tests.workshop.carts import cart
from tests.workshop.frames import corner, gate

STOCKS = load_stocks()


@pytest.fixture
def cad():
    return pytest.importorskip("build123d", reason="needs the extra: pip install '.[step]'")


def products(data: bytes) -> list[str]:
    """The names of all products, by the rules for strings of ISO 10303-21 (from memory)."""
    found = re.findall(r"PRODUCT\('((?:[^']|'')*)'", data.decode("ascii"))
    plain = (re.sub(r"\\X2\\([0-9A-F]{4})\\X0\\", lambda c: chr(int(c[1], 16)), name) for name in found)
    return [name.replace("''", "'") for name in plain]


def solids(cad, data: bytes, tmp_path) -> list:
    """Every assembly in the file, as build123d reads it: a label and children each."""
    path = tmp_path / "frame.step"
    path.write_bytes(data)
    return list(cad.import_step(path).children)


def test_members_are_solids_in_their_places_with_what_their_bores_take(cad, tmp_path):
    frame = gate()
    data = frame_step(frame, STOCKS)
    found = solids(cad, data, tmp_path)
    by_name = {part.label: part for part in found}
    for m in frame.members:
        box, expected = by_name[m.id].bounding_box(), corners(m) * frame.pitch_mm
        assert np.allclose(tuple(box.min), expected.min(axis=0), atol=1e-4)
        assert np.allclose(tuple(box.max), expected.max(axis=0), atol=1e-4)
        # Two round bores of 9.5 mm across 38.1 mm at each pitch; what both have in common, a Steinmetz solid
        # of 16/3 r^3, is taken once.
        bores = m.holes * (2 * np.pi * 4.75**2 * 38.1 - 16 / 3 * 4.75**3)
        assert by_name[m.id].volume == pytest.approx(m.holes * 38.1**3 - bores, rel=1e-6)
    assert len(found) == len(frame.members) + 1  # and the bolts


def test_bolts_are_there_with_nuts_and_washers(cad, tmp_path):
    """ISO 4014, 4032 and 7089 for M8 (from memory): flats 13, head 5.3, nut 6.8, washer 16 x 8.4 x 1.6."""
    pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, 1, 3), (1, 0, 0), 8)
    data = frame_step(Frame(pair, find_joints(pair), 38.1), {})
    (bolt,) = solids(cad, data, tmp_path)[-1].children
    hexagon = np.sqrt(3) / 2 * 13**2
    shank = np.pi / 4 * 8**2
    expected = hexagon * 5.3 + shank * 90 + (hexagon - shank) * 6.8 + 2 * np.pi / 4 * (16**2 - 8.4**2) * 1.6
    assert bolt.volume == pytest.approx(expected, rel=1e-6)
    box = bolt.bounding_box()
    assert pytest.approx((-19.05 - 1.6 - 5.3, -19.05 - 1.6 + 90), abs=1e-4) == (box.min.Y, box.max.Y)


def test_members_and_bolts_have_their_names_in_any_script(cad):
    frame = gate()
    names = products(frame_step(frame, STOCKS))
    assert {m.id for m in frame.members} <= set(names)
    bolts = [name for name in names if name.startswith("bolt ")]
    assert len(bolts) == len(find_bolts(frame))
    other = Frame((Member("梁's é", (0, 0, 0), (0, 0, 1), 2),), (), 38.1, name="Gerüst")
    assert {"梁's é", "Gerüst"} <= set(products(frame_step(other, {}, drilled=False)))


def test_members_of_one_kind_share_a_solid(cad):
    frame = corner()
    kinds = len({(m.stock, m.holes) for m in frame.members})
    assert frame_step(frame, STOCKS, drilled=False).count(b"MANIFOLD_SOLID_BREP") == kinds


def test_a_tube_is_hollow(cad, tmp_path):
    tube = next(s for s in STOCKS.values() if s.wall_mm)
    m = Member("A", (0, 0, 0), (1, 0, 0), 3, tube.width_mm / tube.pitch_mm, stock=tube.id)
    (part,) = solids(cad, frame_step(Frame((m,), (), tube.pitch_mm), STOCKS), tmp_path)
    section = tube.width_mm**2 - (tube.width_mm - 2 * tube.wall_mm) ** 2
    bores = 3 * 4 * np.pi / 4 * tube.hole_mm**2 * tube.wall_mm
    assert part.volume == pytest.approx(3 * tube.pitch_mm * section - bores, rel=1e-6)


def test_fittings_are_plain_boxes_in_their_places(cad, tmp_path):
    frame = cart()
    found = {part.label: part for part in solids(cad, frame_step(frame, STOCKS), tmp_path)}
    for id, box in fitting_boxes(frame).items():
        reach = np.abs(box.axes).T @ box.half
        drawn = found[id].bounding_box()
        assert np.allclose(tuple(drawn.min), (box.centre - reach) * frame.pitch_mm, atol=1e-4)
        assert np.allclose(tuple(drawn.max), (box.centre + reach) * frame.pitch_mm, atol=1e-4)


def test_without_the_extra_a_sentence_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "build123d", None)
    with pytest.raises(ReconError, match=r"not installed.*pip install '\.\[step\]'"):
        frame_step(gate(), STOCKS)


def test_a_frame_without_size_or_members_is_refused_in_words(cad):
    with pytest.raises(ReconError, match="pitch is not known"):
        frame_step(gate(pitch_mm=None), STOCKS)
    with pytest.raises(ReconError, match="no members"):
        frame_step(Frame((), pitch_mm=38.1), STOCKS)
