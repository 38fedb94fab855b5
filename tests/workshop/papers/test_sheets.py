"""What is printed is large enough to read, in its own place, and says what it belongs to."""

import io
import json
import re
from itertools import combinations

import numpy as np
import pypdf
import pytest
from PIL import Image

from recon.cli import main
from recon.frame.files import frame_to_dict
from recon.frame.model import Member, StockUse
from recon.frame.stock import load_stocks
from recon.workshop.confidence_text import size_sentence, stock_words
from recon.workshop.drawing.member_sheet import member_sheets
from recon.workshop.drawing.projections import ViewBoard, drawn_hole, views_needed
from recon.workshop.drawing.vector import Disc, Text
from recon.workshop.drawing.view_drawing import draw_view
from recon.workshop.drawing.view_sheet import BLOCK, COMFORTABLE, side_of, view_sheets
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.papers.blocks import (
    Document,
    Drawing,
    Heading,
    Paragraph,
    Picture,
    Section,
    StepBlock,
    Table,
)
from recon.workshop.papers.choices import Enclosed, PapersChoices
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.pdf import papers_pdf, print_area
from recon.workshop.sides import Sides
from tests.workshop.frames import X, Z, framed, gate, member
from tests.workshop.trestles import scaffold, trestle

STOCKS = load_stocks()
SIX_POINTS = 6 * 25.4 / 72  # mm


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "white").save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def made():
    return compose_papers(
        trestle(),
        STOCKS,
        PapersChoices(paper="letter"),
        Enclosed(photos=[("left.jpg", jpeg())], date="2031-05-17"),
    ).document


def sheets(document):
    blocks = [b for s in document.sections for b in s.blocks]
    return [b.sheet for b in blocks if isinstance(b, (Drawing, StepBlock))]


def test_no_lettering_is_smaller_than_six_points(made):
    # Tags were 4.5 points. The smallest lettering of the frame with the most members decides.
    for document in (made, compose_papers(scaffold(2, 2, 3), STOCKS).document):
        sizes = [i.size for sheet in sheets(document) for i in sheet.items if isinstance(i, Text)]
        assert min(sizes) >= SIX_POINTS - 1e-6 and len(sizes) > 200


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("frame", [trestle(name="A rather long name for a trestle of this size"), gate()])
def test_nothing_in_the_title_block_lies_on_anything_else(frame, paper):
    board = ViewBoard(frame, drawn_hole(frame, STOCKS))
    for angle in ("first", "third"):
        sizes = (print_area(paper, False),)
        for sheet in view_sheets(board, angle, views_needed(board, side_of(angle)), sizes):
            low = [i for i in sheet.items if isinstance(i, Text) and i.at[1] < BLOCK - 2]
            boxes = [i.box for i in low]
            rings = [i for i in sheet.items if isinstance(i, Disc) and i.at[1] < BLOCK - 2]
            boxes += [(d.at[0] - 2, d.at[1] - 2, d.at[0] + 2, d.at[1] + 2) for d in rings[:1]]
            for a, b in combinations(boxes, 2):
                assert a[2] <= b[0] + 0.3 or b[2] <= a[0] + 0.3 or a[3] <= b[1] + 0.3 or b[3] <= a[1] + 0.3
            assert all(box[0] >= 0 and box[2] <= sheet.width for box in boxes)


def test_views_share_a_sheet_where_all_of_them_stay_legible():
    board = ViewBoard(gate(), drawn_hole(gate(), STOCKS))
    names = views_needed(board, "Left")
    found = view_sheets(board, "first", names, (print_area("a4", True), print_area("a4", False)))
    assert len(found) < 1 + len(names)
    large = ViewBoard(scaffold(2, 2, 3), 0.28)
    names = views_needed(large, "Left")
    assert len(view_sheets(large, "first", names, (print_area("a4"),))) == 1 + len(names)
    assert COMFORTABLE * 0.36 > SIX_POINTS  # a tag of six points beside a member that it is written on


def test_each_page_says_which_page_of_its_part_it_is_and_when_the_build_was(made):
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(papers_pdf(made))).pages]
    assert all("Slip trestle, 2031-05-17" in text for text in pages)
    steps = [text for text in pages if "Build steps: page" in text]
    assert len(steps) > 1
    for n, text in enumerate(steps, 1):
        assert f"Build steps: page {n} of" in " ".join(text.split())
        assert str(len(steps)) in text.split(f"Build steps: page {n} of")[1].split("page")[0]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_tables_leave_no_row_alone_on_a_page_and_headings_stay_with_what_they_head(paper):
    rows = tuple((f"row{n}",) for n in range(12))
    for before in range(20, 34):  # so that the table begins anywhere near the end of a page
        lines = [Paragraph(f"line {n}") for n in range(before)]
        short = [Heading("Short"), Table(("little",), rows[:4])]
        blocks = (*lines, Heading("Long"), Table(("head",), rows), *short)
        pages = pypdf.PdfReader(
            io.BytesIO(papers_pdf(Document("Gate", paper, (Section("Gate", blocks),))))
        ).pages
        texts = [page.extract_text() for page in pages]
        for text in texts:
            here = re.findall(r"^row\d+$|^head$|^little$|^Long$|^Short$", text, re.MULTILINE)
            assert here.count("head") <= 1 and here[-1:] not in (["Long"], ["Short"], ["head"], ["little"])
            of_long = here[: here.index("Short")] if "Short" in here else here
            assert sum(word.startswith("row") for word in of_long) not in (1, 2)
        assert sum(text.count("little") for text in texts) == 1


def test_photos_of_the_build_are_in_the_papers(made, tmp_path, capsys):
    (picture,) = [b for s in made.sections if s.title == "Photos" for b in s.blocks if isinstance(b, Picture)]
    assert picture.png == jpeg()
    frame = gate()
    data = frame_to_dict(frame) | {"photos": [{"file": "left.png", "size": [60, 40], "used": True}]}
    (tmp_path / "frame.json").write_text(json.dumps(data))
    (tmp_path / "overlays").mkdir()
    (tmp_path / "overlays" / "left.jpg").write_bytes(jpeg())
    assert main(["papers", str(tmp_path / "frame.json"), "-o", str(tmp_path / "out")]) == 0
    assert "data:image/jpeg" in (tmp_path / "out" / "papers.html").read_text()
    capsys.readouterr()
    wrong = ["papers", str(tmp_path / "frame.json"), "-o", str(tmp_path / "b"), "--overlays", str(tmp_path)]
    assert main(wrong) == 2 and "holds no overlay" in capsys.readouterr().err


def test_doubt_about_stock_and_size_is_one_plain_sentence():
    frame = trestle(doubts=("The size in millimetres is not sure: it may be another stock.", "It is dark."))
    document = compose_papers(frame, STOCKS).document
    texts = [b.text for b in document.sections[0].blocks if isinstance(b, Paragraph)]
    sentence = size_sentence(frame, STOCKS)
    assert texts.count(sentence) == 1 and sentence.startswith(
        "All lengths in mm hold if the stock is Softwood"
    )
    assert "876.3 mm (34 1/2 in)" in sentence and not any("not sure: it may be" in text for text in texts)
    assert size_sentence(trestle(stock=StockUse("softwood-38", "given")), STOCKS) == ""


def test_a_mixed_frame_names_every_stock():
    frame = framed(
        member("A", (0, 0, 0), Z, 8),
        member("B", (0, -1, 2), X, 8, stock="aluminium-38"),
        member("C", (5, 0, 0), Z, 8),
    )
    words = stock_words(frame, STOCKS)
    assert words.startswith("Softwood") and words.count(": ") == 2 and "A and C" in words and "B" in words


def test_faces_and_ends_of_a_brace_are_named_by_the_nearest_side():
    # They were named by components: "hole 1 at [0.904, -0.428, 0]".
    brace = Member("F", (-1.0, -1.0, 4.0), (0.8, 0.0, 0.6), 11, 1.0, "softwood-38")
    frame = framed(*gate().members, brace)
    (sheet,) = member_sheets(brace, frame, find_bolts(frame), Sides(frame.members), 180.0)
    texts = [i.text for i in sheet.items if isinstance(i, Text)]
    assert texts[0] == "F: 11 holes, 419.1 mm (16 1/2 in), at an angle; hole 1 at left"
    assert {"front", "back", "top", "bottom"} < set(texts)


def test_where_numbers_have_no_room_hole_1_stands_off_the_end():
    frame = scaffold(2, 2, 3)
    board = ViewBoard(frame, drawn_hole(frame, STOCKS))
    small = draw_view(board, "Front", 3.0)
    ones = [i for i in small if isinstance(i, Text) and i.text == "1"]
    assert ones and not any(isinstance(i, Text) and i.text == "5" for i in small)
    ends = {m.id: board.scene("Front").view.flat(m.hole_centre(0)) * 3.0 for m in frame.members}
    assert all(np.abs(np.subtract(i.at, ends[i.layer])).max() < 6.0 for i in ones)


def test_a_size_stands_once_on_the_sheet_of_three_views(made):
    (sheet,) = (s for s in sheets(made) if s.title == "Three views")
    sizes = [
        i.text for i in sheet.items if isinstance(i, Text) and i.text.endswith(" in)") and "mm" in i.text
    ]
    upright = [i.text for i in sheet.items if isinstance(i, Text) and i.text.endswith(" mm")]
    assert len([s for s in sizes if not s.startswith("Scale")]) == 2 and upright.count("609.6 mm") == 1
