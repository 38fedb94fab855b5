"""Papers of frames that are larger than most."""

import io

import pypdf
import pytest

from recon.errors import ReconError
from recon.frame.model import Frame, Member, label
from recon.workshop.papers.blocks import Document, Paragraph, Section, Table
from recon.workshop.papers.compose import MOST_HOLES, MOST_MEMBERS, compose_papers
from recon.workshop.papers.pdf import papers_pdf


def posts(count: int, holes: int) -> Frame:
    up = (0.0, 0.0, 1.0)
    at = ((2.0 * (k % 50), 2.0 * (k // 50), 0.0) for k in range(count))
    return Frame(tuple(Member(label(k), xyz, up, holes) for k, xyz in enumerate(at)), pitch_mm=38.1)


def test_labels_that_fill_more_than_a_page_are_all_in_the_table():
    names = [f"M{k}" for k in range(4000)]
    table = Table(("count", "members"), (("4000", ", ".join(names)), ("1", "LAST")), (0,), (1,), True)
    data = papers_pdf(Document("t", "a4", (Section("c", (Paragraph("x"),)), Section("Parts", (table,)))))
    words = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)
    assert set(names) | {"LAST"} <= set(words.replace(",", " ").split())


@pytest.mark.parametrize("count, holes", [(MOST_MEMBERS + 1, 1), (MOST_HOLES // 1000 + 1, 1000)])
def test_a_frame_that_is_too_large_for_papers_is_refused_before_any_work(count, holes):
    with pytest.raises(ReconError, match=r"papers are made of up to"):
        compose_papers(posts(count, holes), {})
