"""Notes and photos at steps, and the photos of a build, are in the papers where they belong."""

import io
import re
from dataclasses import replace

import pypdf
import pytest
from PIL import Image

from recon.cli import main
from recon.frame.files import save_frame
from recon.frame.model import Photo
from recon.frame.stock import load_stocks
from recon.workshop.assembly.progress import step_items
from recon.workshop.assembly.record import Act, AssemblyRecord, StepKey, StepNote, StepPhoto
from recon.workshop.assembly.steps import build_steps
from recon.workshop.papers.blocks import Heading, Paragraph, Picture, StepBlock
from recon.workshop.papers.builder_record import BuilderRecord
from recon.workshop.papers.choices import Enclosed
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.papers.pdf import papers_pdf
from tests.workshop.frames import gate
from webui.storage.work import WorkLog

STOCKS = load_stocks()
AT = "2031-05-17T10:00:00+00:00"


def jpeg(colour) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (600, 400), colour).save(out, "JPEG")
    return out.getvalue()


def act(frame) -> Act:
    """A note and a photo at the second step, and a note at none."""
    key = step_items(build_steps(frame))[1].key
    note = StepNote(1, key, "Ream hole 3\nthen <wax> it", AT)
    return Act((note, StepPhoto("tight.jpg", key, AT), StepNote(2, StepKey("join", ("Z",)), "Lost")))


@pytest.fixture(scope="module")
def made():
    kept = BuilderRecord(
        AssemblyRecord().after(act(gate())), {"tight.jpg": jpeg("red")}, [("left.jpg", jpeg("green"))]
    )
    return compose_papers(gate(), STOCKS, enclosed=Enclosed(kept=kept)).document


def test_a_note_and_a_photo_stand_at_their_step(made):
    (section,) = [s for s in made.sections if s.title == "Build steps"]
    places = [k for k, b in enumerate(section.blocks) if isinstance(b, StepBlock)]
    second = section.blocks[places[1]]
    assert [line.text for line in second.lines][-2:] == ["Note (2031-05-17): Ream hole 3", "then <wax> it"]
    picture = section.blocks[places[1] + 1]
    assert isinstance(picture, Picture) and picture.png == jpeg("red")
    assert picture.text == f"{second.title}: tight.jpg, 2031-05-17"
    rest = section.blocks.index(Heading("Notes and photos of steps that are no more"))
    assert section.blocks[rest + 1] == Paragraph("Note: Lost", "list")


def test_photos_of_the_build_are_there_as_they_were_taken(made):
    (section,) = [s for s in made.sections if s.title == "Photos"]
    assert section.blocks[0].text == "The photos as they were taken."
    assert [b.png for b in section.blocks if isinstance(b, Picture)] == [jpeg("green")]


def test_pdf_and_page_have_them_and_what_is_text_stays_text(made):
    pdf = pypdf.PdfReader(io.BytesIO(papers_pdf(made)))
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pdf.pages))
    assert "Ream hole 3" in text and sum(len(page.images) for page in pdf.pages) == 2
    html = papers_html(made)
    assert "then &lt;wax&gt; it" in html and "<wax>" not in html and html.count("data:image/jpeg") == 2


def test_the_command_takes_them_from_the_folder_of_a_build(tmp_path, capsys):
    frame = gate()
    Image.new("RGB", (600, 400), "green").save(tmp_path / "left.jpg")
    for folder, name in (("photos", "left.jpg"), ("step-photos", "tight.jpg")):
        (tmp_path / folder).mkdir()
        Image.new("RGB", (600, 400), "navy").save(tmp_path / folder / name)
    (tmp_path / "photos" / "torn.jpg").write_bytes(b"\xff\xd8 torn")
    photos = tuple(Photo(name, (600, 400)) for name in ("left.jpg", "torn.jpg"))
    save_frame(replace(frame, photos=photos), tmp_path / "f.json")
    work = WorkLog(tmp_path)
    work.act(lambda record: act(frame))
    work.close()
    assert main(["papers", str(tmp_path / "f.json"), "-o", str(tmp_path / "out")]) == 0
    html = (tmp_path / "out" / "papers.html").read_text("utf-8")
    assert "Note (2031-05-17): Ream hole 3" in html and html.count("data:image/jpeg") == 2
    assert "torn.jpg" in capsys.readouterr().err
