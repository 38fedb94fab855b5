"""The papers, read back: everything a stranger needs is in them, once, in any script, and nothing is fetched
or run."""

import io
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest

from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.files import load_frame
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse, rename
from recon.frame.stock import load_stocks
from recon.show.picture import draw_frame, encode_png
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.drawing.paper import PAPERS
from recon.workshop.drawing.pdf import UNKNOWN, faces, runs
from recon.workshop.hardware.bolts import bolt_words, find_bolts
from recon.workshop.papers.blocks import Document, Drawing, Paragraph, Section, StepBlock, Table
from recon.workshop.papers.choices import Enclosed, PapersChoices, PartsChoices
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.papers.pdf import papers_pdf, print_area
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import Rack, as_built, load_rack, use_rack
from recon.workshop.wording import holes_words
from tests.workshop.trestles import scaffold, trestle

STOCKS = load_stocks()
CASES = Path(__file__).parents[2] / "data" / "workshop"
SCRIPT = "<script>alert(1)</script>"


def reader(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


@cache
def text_of(data: bytes) -> str:
    """All text of a PDF with single spaces."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader(data).pages))


class Page(HTMLParser):
    """Tags with their attributes, and the text outside style."""

    def __init__(self, html: str):
        super().__init__()
        self.tags, self.words, self._style = [], [], False
        self.feed(html)
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._style = tag == "style"

    def handle_endtag(self, tag):
        self._style = False

    def handle_data(self, data):
        if not self._style:
            self.words.append(data)


@pytest.fixture(scope="module")
def made():
    frame = trestle()
    picture = encode_png(draw_frame(frame, (400, 300)))
    document = compose_papers(frame, STOCKS, enclosed=Enclosed(picture=picture)).document
    return frame, document, papers_pdf(document), papers_html(document)


def both_texts(made):
    return text_of(made[2]), Page(made[3]).text


# What is in them


def test_both_name_every_member_and_its_length(made):
    for text in both_texts(made):
        words = Counter(re.findall(r"\b[A-L]\b", text))
        assert all(words[m.id] >= 6 for m in made[0].members)  # parts, cuts, views, steps
        for length in ("609.6 mm (24 in)", "457.2 mm (18 in)", "876.3 mm (34 1/2 in)"):
            assert length in text


def test_both_give_every_lap_in_words_and_every_section(made):
    frame = made[0]
    for text in both_texts(made):
        for bolt in find_bolts(frame):
            assert bolt_words(bolt) in text
        for j in frame.joints:
            if j.bolt == "none":
                assert f"hole {j.a_hole + 1} of {j.a} on hole {j.b_hole + 1} of {j.b} no bolt" in text
        for title in ("Parts list", "Cut list", "Joint table", "Build steps", "How sure this is"):
            assert title in text


def test_the_caution_is_given_once(made):
    for text in both_texts(made):
        assert text.count(CAUTION) == 1 and text.count("load rating") == 1


def test_what_is_not_sure_is_told(made):
    doubtful = next(m for m in made[0].members if m.confidence < 0.9)
    for text in both_texts(made):
        assert (
            f"{doubtful.id} ({doubtful.holes} holes, 60% sure): the end at hole {doubtful.holes} is out of "
            "sight" in text
        )
        assert "The far corner is dark." in text and "83% sure" in text and "in no photo" in text


def test_labels_in_the_drawings_are_those_of_the_lists(made):
    drawings = [b.sheet for s in made[1].sections for b in s.blocks if isinstance(b, Drawing)]
    drawn = {
        i.text for sheet in drawings for i in sheet.items if getattr(i, "mark", False) and i.text.isalpha()
    }
    assert drawn == {m.id for m in made[0].members}


def test_every_step_has_its_picture(made):
    frame, document, _, html = made
    steps = [b for s in document.sections for b in s.blocks if type(b).__name__ == "StepBlock"]
    assert len(steps) > 5 and [s.title.split(",")[0] for s in steps] == [
        f"Step {k}" for k in range(1, len(steps) + 1)
    ]
    assert html.count('<div class="step"><figure><svg') == len(steps)
    told = set().union(*({w for line in s.lines for w in re.findall(r"\b[A-L]\b", line.text)} for s in steps))
    assert told == {m.id for m in frame.members}


# PDF


@cache
def plain(paper):
    """The papers of a trestle, with nothing else said than the paper."""
    return papers_pdf(compose_papers(trestle(), STOCKS, PapersChoices(paper=paper)).document)


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_the_size_of_the_paper_and_their_number(paper):
    pages = reader(plain(paper)).pages
    for k, page in enumerate(pages, 1):
        size = sorted((float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4))
        assert size == pytest.approx(PAPERS[paper].size_mm, abs=0.01)  # A4: ISO 216; Letter: 8 1/2 x 11 in
        text = re.sub(r"\s+", " ", page.extract_text())
        assert f"page {k} of {len(pages)}" in text and "Slip trestle" in text


def test_letter_paper_has_third_angle_and_a4_first_unless_told():
    members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 5), (1, 0, 0), 6)
    frame = Frame(members, find_joints(members), 38.1)
    for choices, expected in (
        (PapersChoices(paper="a4"), "first"),
        (PapersChoices(paper="letter"), "third"),
        (PapersChoices(paper="letter", angle="first"), "first"),
    ):
        document = compose_papers(frame, STOCKS, choices).document
        assert f"{expected} angle" in text_of(papers_pdf(document))


def test_the_outline_leads_to_every_section(made):
    pdf = reader(made[2])
    assert [entry.title for entry in pdf.outline] == [s.title for s in made[1].sections]
    numbers = [pdf.get_destination_page_number(entry) for entry in pdf.outline]
    for number, section in zip(numbers, made[1].sections):
        assert section.title in pdf.pages[number].extract_text()
    assert numbers == sorted(numbers) and len(set(numbers)) >= 4


def test_the_same_frame_gives_the_same_bytes():
    first, second = (compose_papers(trestle(), STOCKS) for _ in range(2))
    assert papers_pdf(first.document) == papers_pdf(second.document)
    assert papers_html(first.document) == papers_html(second.document)


def test_faces_are_in_the_file(made):
    fonts = {
        str(font["/BaseFont"])
        for page in reader(made[2]).pages
        for font in (f.get_object() for f in page["/Resources"]["/Font"].values())
    }
    assert {f.split("+")[-1] for f in fonts} >= {"DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"}


def test_a_long_table_goes_on_over_pages_with_its_head():
    rows = tuple((str(k), f"hole {k} of A on hole {k} of B") for k in range(1, 200))
    document = Document("Long", "a4", (Section("Long", (Table(("no.", "lap"), rows, (0,), (1,), True),)),))
    pages = reader(papers_pdf(document)).pages
    assert len(pages) > 2 and all("no." in page.extract_text() for page in pages)
    assert "hole 199 of A on hole 199 of B" in pages[-1].extract_text()


# Any script

NAMES = ["Ä", "Ω", "Ж", "梁", "かな", "보", "é", "ñ", "ß", "Ł", "ø", "K1"]


def test_names_and_labels_of_any_script_are_in_the_pdf():
    frame = trestle(name="Bock Übergröße Ελλάδα Стапель 船台 かな 보")
    frame = rename(frame, {m.id: n for m, n in zip(frame.members, NAMES)})
    text = text_of(papers_pdf(compose_papers(frame, STOCKS).document))
    assert frame.name in text
    assert all(name in text for name in NAMES)


def test_what_no_face_has_is_marked_as_unknown():
    faces()
    assert runs("A\U0001f6a7B", "Frame-Sans") == [
        ("Frame-Sans", "A"),
        ("Frame-Sans", UNKNOWN),
        ("Frame-Sans", "B"),
    ]
    assert runs("a\nb", "Frame-Sans") == [("Frame-Sans", "a b")]
    assert [part for _, part in runs("A梁보か", "Frame-Sans")] == ["A", "梁", "보", "か"]
    assert runs("", "Frame-Sans") == []


def test_markup_in_names_labels_and_doubts_stays_text():
    frame = trestle(name=SCRIPT, doubts=("<img src=x onerror=alert(1)> & <b>bold</b>",))
    frame = rename(
        frame,
        {
            m.id: n
            for m, n in zip(
                frame.members,
                ["<b>", "</table>", "&amp;", "\"'", "]]>", "<!--", "G", "H", "I", "J", "K", "L"],
            )
        },
    )
    document = compose_papers(frame, STOCKS).document
    page = Page(papers_html(document))
    allowed = {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "h1",
        "h2",
        "h3",
        "nav",
        "a",
        "p",
        "ul",
        "li",
        "div",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "span",
        "section",
        "figure",
        "img",
        "svg",
        "rect",
        "path",
        "circle",
        "text",
        "g",
        "input",  # boxes to tick
    }
    assert {tag for tag, _ in page.tags} <= allowed
    assert {a["type"] for tag, a in page.tags if tag == "input"} <= {"checkbox"}
    assert not any(name.startswith("on") for _, attrs in page.tags for name in attrs)
    assert SCRIPT in page.text and "<img src=x onerror=alert(1)> & <b>bold</b>" in page.text
    text = text_of(papers_pdf(document))
    assert SCRIPT in text and "& <b>bold</b>" in text and re.search(r"hole \d+ of </table>", text)


# HTML


def test_the_html_fetches_nothing(made):
    page = Page(made[3])
    for tag, attrs in page.tags:
        assert tag not in ("script", "link", "iframe", "object", "embed", "base", "form")
        for name in ("src", "href", "xlink:href", "srcset", "data", "action", "poster", "background"):
            assert attrs.get(name, "#").startswith(("#", "data:image/png;base64,"))
    assert "url(" not in made[3] and "@import" not in made[3]
    policy = next(
        a["content"] for t, a in page.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")
    assert set(re.findall(r"https?://[^\"'\s<]+", made[3])) == {
        "http://www.w3.org/2000/svg"
    }  # the name of SVG's namespace, fetched by nobody


def test_links_lead_somewhere(made):
    page = Page(made[3])
    ids = {a["id"] for _, a in page.tags if "id" in a}
    links = {a["href"][1:] for t, a in page.tags if t == "a"}
    assert links == ids and len(ids) == len(made[1].sections) - 1


@pytest.mark.parametrize("paper, size", [("a4", "size: A4;"), ("letter", "size: letter;")])
def test_printing_the_html_asks_for_the_paper(paper, size):
    assert size in papers_html(compose_papers(trestle(), STOCKS, PapersChoices(paper=paper)).document)


# What cannot be told


def test_a_frame_whose_stick_is_too_short_has_papers_without_a_cut_list():
    long = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 400, stock="softwood-38")
    made = compose_papers(Frame((long,), (), 38.1, StockUse("softwood-38")), STOCKS)
    assert len(made.missing) == 1 and made.missing[0].startswith("No cut list: Member A has 400 holes")
    assert made.missing[0] in text_of(papers_pdf(made.document))


def test_a_frame_that_cannot_be_put_together_says_what_is_in_the_way():
    made = compose_papers(
        trestle(),
        STOCKS,
        enclosed=Enclosed(steps=BuildOrder((), (), ("A",), ("A comes in from no side: B is in the way.",))),
    )
    assert made.missing == ("No build steps: A comes in from no side: B is in the way.",)
    assert "A comes in from no side: B is in the way." in text_of(papers_pdf(made.document))


def test_a_frame_file_without_photos_is_taken_as_it_stands():
    frame = trestle(photos=(), doubts=(), stock=StockUse("softwood-38"))
    frame = replace(
        frame,
        members=tuple(
            replace(m, confidence=1.0, ends=Member("x", (0, 0, 0), (1, 0, 0), 1).ends) for m in frame.members
        ),
        joints=find_joints(frame.members),
    )
    text = text_of(papers_pdf(compose_papers(frame, STOCKS).document))
    assert "No photo is named in the frame file" in text
    assert "seen" not in text.split("Joint table")[1].split("Build steps")[0]


def test_a_frame_of_unknown_stock_has_papers_without_bolt_sizes():
    members = tuple(replace(m, stock=None) for m in trestle().members)
    made = compose_papers(trestle(members=members, stock=None), STOCKS)
    assert "stock of member" in made.missing[0]
    assert "size not known" in text_of(papers_pdf(made.document))


@pytest.mark.parametrize(
    "frame, words", [(Frame(()), "no members"), (trestle(pitch_mm=None), "pitch is not known")]
)
def test_a_frame_that_has_no_papers_is_refused_in_words(frame, words):
    with pytest.raises(ReconError, match=words):
        compose_papers(frame, STOCKS)


def test_an_unknown_paper_or_projection_is_refused_in_words():
    with pytest.raises(ReconError, match="'a5' is no paper.*a4 or letter"):
        compose_papers(trestle(), STOCKS, PapersChoices(paper="a5"))
    with pytest.raises(ReconError, match="'second' is no way to lay out views.*first or third"):
        compose_papers(trestle(), STOCKS, PapersChoices(angle="second"))


# What is owned, and what it costs


def test_the_rack_and_prices_are_in_the_parts_list():
    prices = PriceList("EUR", metre={"softwood-38": 4.0})
    text = text_of(
        papers_pdf(
            compose_papers(
                trestle(),
                STOCKS,
                PapersChoices(parts=PartsChoices(prices=prices, rack=Rack({("softwood-38", 16): 4}))),
            ).document
        )
    )
    assert "From the rack as they are: A, B, C and D." in text and "owned" in text and "EUR" in text


def test_papers_count_the_holes_of_longer_members_from_the_rack_on_the_members_themselves():
    frame, rack = load_frame(CASES / "trestle.json", STOCKS), load_rack(CASES / "r1.csv", STOCKS)
    built = as_built(frame, use_rack(frame, rack, STOCKS, overhang=2))
    assert built != frame
    document = compose_papers(
        frame, STOCKS, PapersChoices(parts=PartsChoices(rack=rack, overhang=2))
    ).document
    table = next(s for s in document.sections if s.title == "Joint table")
    rows = [row[1] for block in table.blocks if isinstance(block, Table) for row in block.rows]
    assert rows == [bolt_words(bolt) for bolt in find_bolts(built)]
    steps = next(s for s in document.sections if s.title == "Build steps")
    words = " ".join(
        line.text for block in steps.blocks if isinstance(block, StepBlock) for line in block.lines
    )
    said = set(re.findall(r"hole \d+ of \w+ on hole \d+ of \w+", words))
    laps = {bolt_words(b) for b in find_bolts(built)} | {
        holes_words(b.through[::-1]) for b in find_bolts(built)
    }
    assert said and said <= laps


def test_drawings_fit_within_the_margins():
    for paper in PAPERS:
        for block in (
            b
            for s in compose_papers(scaffold(3, 1, 2), STOCKS, PapersChoices(paper=paper)).document.sections
            for b in s.blocks
        ):
            if isinstance(block, Drawing) and block.whole_page:
                assert (block.sheet.width, block.sheet.height) in (print_area(paper), print_area(paper, True))
            elif isinstance(block, Drawing):
                assert (
                    block.sheet.width <= print_area(paper)[0] and block.sheet.height <= print_area(paper)[1]
                )


def test_paragraphs_of_every_kind_are_in_both():
    blocks = tuple(Paragraph(f"kind {kind}", kind) for kind in ("text", "note", "list", "caution"))
    document = Document("T", "a4", (Section("T", blocks),))
    for text in (text_of(papers_pdf(document)), Page(papers_html(document)).text):
        assert all(f"kind {kind}" in text for kind in ("text", "note", "list", "caution"))
