"""Labels say what a member is, and their QR codes say the same; each member's sheet shows its bolts."""

import io

import cv2
import numpy as np
import pypdf
import pytest

from recon.frame.stock import load_stocks
from recon.workshop.drawing.member_sheet import bolts_by_member, member_sheets, unrolled
from recon.workshop.drawing.vector import Text
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.papers.labels import GRIDS, code_rows, label_text, labels_pdf
from recon.workshop.sides import Sides
from tests.workshop.frames import Z, framed, gate, member
from tests.workshop.trestles import scaffold, trestle

STOCKS = load_stocks()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_member_has_a_label_with_its_length_and_the_holes_of_its_bolts(paper):
    frame = trestle()
    pages = pypdf.PdfReader(io.BytesIO(labels_pdf(frame, STOCKS, paper))).pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    for m in frame.members:
        assert f"\n{m.id}\n" in f"\n{text}\n"
        holes = {h + 1 for b in find_bolts(frame) for id, h in b.through if id == m.id}
        assert f"bolts in {' '.join(map(str, sorted(holes)))}" in text
    assert "23 holes, 876.3 mm" in text and "34 1/2 in, softwood-38" in text


def test_sheets_of_labels_go_on():
    grid = GRIDS["a4"]
    frame = scaffold(2, 2, 3)
    pages = pypdf.PdfReader(io.BytesIO(labels_pdf(frame, STOCKS))).pages
    assert len(pages) == -(-len(frame.members) // (grid.columns * grid.rows)) > 1


def test_a_qr_code_reads_as_the_label_says():
    # OpenCV's detector is another program than the one that makes the codes.
    text = label_text(gate().member("C"), gate())
    rows = np.array([list(row) for row in code_rows(text)])
    image = np.kron(np.pad(1 - rows, 4, constant_values=1), np.ones((8, 8))).astype(np.uint8) * 255
    assert (
        cv2.QRCodeDetector().detectAndDecode(image)[0]
        == text
        == "Brackwater gate C 11 holes 419.1 mm (16 1/2 in)"
    )


def test_a_member_shows_each_bolt_on_the_face_where_the_other_member_lies():
    frame = gate()
    bolts, sides = find_bolts(frame), Sides(frame.members)
    for m in frame.members:
        faces = unrolled(m, frame, bolts, sides)
        laps = [j for j in frame.joints if m.id in (j.a, j.b)]
        found = [(hole, lap) for face in faces.bolts for hole, lap in face.items() if lap]
        assert len(found) == len(laps)
        for name, face in zip(faces.names, faces.bolts):
            for hole, lap in face.items():
                if lap:
                    gap = frame.member(lap.member).hole_centre(lap.hole) - m.hole_centre(hole)
                    assert sides.name(gap) == name


def test_every_hole_is_numbered_also_of_members_that_take_several_rows():
    frame = framed(member("A", (0, 0, 0), Z, 95))
    (sheet,) = member_sheets(frame.members[0], frame, (), Sides(frame.members), 182.0)
    numbers = [i.text for i in sheet.items if isinstance(i, Text) and i.mark]
    assert numbers == [str(n) for n in range(1, 96)]
    assert all(
        0 <= i.at[0] <= 182 and 0 <= i.at[1] <= sheet.height for i in sheet.items if isinstance(i, Text)
    )
    longest = framed(member("A", (0, 0, 0), Z, 400))
    assert len(member_sheets(longest.members[0], longest, (), Sides(longest.members), 182.0)) == 3
    assert bolts_by_member(find_bolts(gate())).keys() == {m.id for m in gate().members}
