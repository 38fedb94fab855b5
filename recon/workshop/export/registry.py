"""All that a frame can be written as: one entry for each, which command line and page read.

To add one, write its module, an entry here and a test.  What needs a picture in colour is drawn on a higher
floor and has its entry there (`recon.show.exports`).  Entries import what they need when they are made, so
that the command line's help comes at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from recon.errors import ReconError
from recon.workshop.drawing.paper import PAPERS
from recon.workshop.export.entry import Export, Request, check_members

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.frame.stock import Stock
    from recon.workshop.papers.builder_record import BuilderRecord
    from recon.workshop.papers.compose import Papers
    from recon.workshop.parts.prices import PriceList


# What writes each


def _dxf(request: Request) -> bytes:
    from recon.workshop.export.dxf import frame_dxf

    return frame_dxf(request.frame, request.stocks, request.angle or "first")


def _glb(request: Request) -> bytes:
    from recon.workshop.export.gltf import frame_glb

    return frame_glb(request.frame, request.stocks, request.drilled)


def _step(request: Request) -> bytes:
    from recon.workshop.export.step import frame_step

    return frame_step(request.frame, request.stocks, request.drilled)


def _svg(request: Request) -> bytes:
    from recon.workshop.drawing.projections import ViewBoard, drawn_hole
    from recon.workshop.drawing.vector import sheet_svg
    from recon.workshop.drawing.view_sheet import best_sheet

    board = ViewBoard(request.frame, drawn_hole(request.frame, request.stocks))
    return sheet_svg(best_sheet(board, request.angle or "first")).encode("utf-8")


def _frame_file(request: Request) -> bytes:
    from recon.frame.files import frame_to_text

    return frame_to_text(request.frame).encode("utf-8")


def _parts_table(request: Request) -> bytes:
    from recon.workshop.parts.parts_formats import parts_csv
    from recon.workshop.parts.parts_list import parts_list
    from recon.workshop.parts.shopping import shopping_for

    parts = parts_list(request.frame, request.stocks, request.prices)
    shopping = shopping_for(request.frame, request.stocks, parts, request.prices)
    return parts_csv(parts, shopping).encode("utf-8")


def _parts_page(request: Request) -> bytes:
    from recon.workshop.parts.parts_formats import parts_html
    from recon.workshop.parts.parts_list import parts_list
    from recon.workshop.parts.shopping import shopping_for

    parts = parts_list(request.frame, request.stocks, request.prices)
    shopping = shopping_for(request.frame, request.stocks, parts, request.prices)
    return parts_html(parts, request.frame, shopping).encode("utf-8")


def _workbook(request: Request) -> bytes:
    from recon.workshop.parts.parts_list import parts_list
    from recon.workshop.parts.shopping import shopping_for
    from recon.workshop.parts.workbook import parts_workbook

    parts = parts_list(request.frame, request.stocks, request.prices)
    return parts_workbook(parts, shopping_for(request.frame, request.stocks, parts, request.prices))


def _joint_table(request: Request) -> bytes:
    from recon.workshop.export.frame_tables import joints_csv

    return joints_csv(request.frame).encode("utf-8")


def _member_table(request: Request) -> bytes:
    from recon.workshop.export.frame_tables import members_csv

    return members_csv(request.frame).encode("utf-8")


def _cut_page(request: Request) -> bytes:
    from recon.workshop.cutting.cut_formats import cut_html
    from recon.workshop.cutting.cut_list import cut_list

    cuts = cut_list(request.frame, request.stocks, prices=request.prices)
    return cut_html(cuts, request.frame.name).encode("utf-8")


def _cut_table(request: Request) -> bytes:
    from recon.workshop.cutting.cut_formats import cut_csv
    from recon.workshop.cutting.cut_list import cut_list

    return cut_csv(cut_list(request.frame, request.stocks, prices=request.prices)).encode("utf-8")


def _papers(request: Request, paper: str) -> Papers:
    from recon.workshop.papers.builder_record import NOTHING_KEPT
    from recon.workshop.papers.choices import Enclosed, PapersChoices, PartsChoices
    from recon.workshop.papers.compose import compose_papers

    picture = request.picture(request.frame, request.stocks) if request.picture else None
    choices = PapersChoices(paper, request.angle, PartsChoices(request.prices))
    kept = request.kept() if request.kept else NOTHING_KEPT
    return compose_papers(request.frame, request.stocks, choices, Enclosed(picture, kept=kept))


def _labels(request: Request, paper: str) -> bytes:
    from recon.workshop.papers.labels import labels_pdf

    return labels_pdf(request.frame, request.stocks, paper)


def _papers_pdf(request: Request, paper: str) -> bytes:
    from recon.workshop.papers.pdf import papers_pdf

    return papers_pdf(_papers(request, paper).document)


def _papers_html(request: Request, paper: str) -> bytes:
    from recon.workshop.papers.html import papers_html

    return papers_html(_papers(request, paper).document).encode("utf-8")


def _build_page(request: Request) -> bytes:
    from recon.workshop.papers.html import papers_html
    from recon.workshop.papers.space import space_view

    made = _papers(request, _FIRST_PAPER)
    space = space_view(request.frame, request.stocks, made.document.title, made.steps)
    return papers_html(made.document, space).encode("utf-8")


# The entries; those that `recon export` writes come first, in the order of its help.

_FIRST_PAPER = next(iter(PAPERS))
_IN_PAPERS = ("angle", "prices", "picture", "kept")

_ENTRIES = (
    Export(
        id="dxf",
        name="Views for a drawing program",
        what="DXF at full size in mm",
        ending=".dxf",
        media_type="application/dxf",
        write=_dxf,
        place=60,
        kind="dxf",
        help="three views at full size in mm; a layer a view and a stock, blocks for members and holes",
        takes=("angle",),
        needs_members=True,
    ),
    Export(
        id="solids",
        name="Drilled members and bolts in space",
        what="glTF in one file (GLB)",
        ending=".glb",
        media_type="model/gltf-binary",
        write=_glb,
        place=70,
        kind="glb",
        help="members with their holes, and bolts (binary glTF, in metres); --boxes: without holes and bolts",
        takes=("drilled",),
        needs_members=True,
    ),
    Export(
        id="step",
        name="Solids for a CAD program",
        what="STEP; needs the extra that pip install '.[step]' brings",
        ending=".step",
        media_type="model/step",
        write=_step,
        place=75,
        kind="step",
        help="members and bolts as true solids, with their names (STEP, in mm); needs pip install '.[step]'",
        takes=("drilled",),
        needs_members=True,
    ),
    Export(
        id="views",
        name="Three views",
        what="front, top and side on a sheet (SVG)",
        ending=".svg",
        media_type="image/svg+xml",
        write=_svg,
        place=50,
        kind="svg",
        help="front, top and side view on a sheet",
        takes=("angle",),
        needs_members=True,
    ),
    Export(
        id="parts",
        name="Parts list as a table",
        what="for a spreadsheet",
        ending=".parts.csv",
        media_type="text/csv",
        write=_parts_table,
        place=110,
        kind="parts",
        help="the parts list as CSV",
        takes=("prices",),
        needs_members=True,
    ),
    Export(
        id="joints",
        name="Joint table",
        what="every lap with its holes, for a spreadsheet",
        ending=".joints.csv",
        media_type="text/csv",
        write=_joint_table,
        place=120,
        kind="joints",
        help="the joint table as CSV, holes counted from 1",
        needs_members=True,
    ),
    Export(
        id="members",
        name="Member table",
        what="places and lengths, for a spreadsheet",
        ending=".members.csv",
        media_type="text/csv",
        write=_member_table,
        place=130,
        kind="members",
        help="the members with their places as CSV",
        needs_members=True,
    ),
    Export(
        id="frame",
        name="Frame file",
        what="members, laps and cameras, for this program and others",
        ending=".frame.json",
        media_type="application/json",
        write=_frame_file,
        place=40,
        kind="json",
        help="the frame file, checked and written anew",
    ),
    *(
        Export(
            id=f"papers-{paper.id}",
            name=f"All papers, {paper.name}",
            what=(
                "picture, parts, cuts, views, joints, steps, for the printer"
                if paper.id == _FIRST_PAPER
                else f"the same on {paper.name}"
            ),
            ending=f".{paper.id}.pdf",
            media_type="application/pdf",
            write=partial(_papers_pdf, paper=paper.id),
            place=10 + k,
            takes=_IN_PAPERS,
            paper=paper.id,
        )
        for k, paper in enumerate(PAPERS.values())
    ),
    *(
        Export(
            id=f"labels-{paper.id}",
            name=f"Labels for members, {paper.name}",
            what="with a QR code each, to print and stick on",
            ending=f".labels.{paper.id}.pdf",
            media_type="application/pdf",
            write=partial(_labels, paper=paper.id),
            place=35 + k,
            kind="" if k else "labels",
            help=f"a label for each member with a QR code, sheets of {paper.name} (PDF)",
            paper=paper.id,
            needs_members=True,
        )
        for k, paper in enumerate(PAPERS.values())
    ),
    Export(
        id="papers-html",
        name="All papers in one page",
        what="for any browser, no network",
        ending=".papers.html",
        media_type="text/html",
        write=partial(_papers_html, paper=_FIRST_PAPER),
        place=30,
        takes=_IN_PAPERS,
        paper=_FIRST_PAPER,
    ),
    Export(
        id="build-page",
        name="The build in one page, with 3-D",
        what="to read anywhere: papers and the frame to turn, no network",
        ending=".build.html",
        media_type="text/html",
        write=_build_page,
        place=29,
        kind="html",
        help="one page to read anywhere, no network: papers, and the frame in 3-D to turn",
        takes=_IN_PAPERS,
        paper=_FIRST_PAPER,
        needs_members=True,
    ),
    Export(
        id="parts-workbook",
        name="Parts and prices as a workbook",
        what="XLSX whose costs are formulas",
        ending=".parts.xlsx",
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        write=_workbook,
        place=115,
        kind="xlsx",
        help="parts and what to buy as a workbook, costs as formulas of prices",
        takes=("prices",),
        needs_members=True,
    ),
    Export(
        id="parts-sheet",
        name="Parts list",
        what="for the printer",
        ending=".parts.html",
        media_type="text/html",
        write=_parts_page,
        place=100,
        takes=("prices",),
    ),
    Export(
        id="cut-sheet",
        name="Cut list",
        what="each stick with its cuts, for the printer",
        ending=".cuts.html",
        media_type="text/html",
        write=_cut_page,
        place=140,
        takes=("prices",),
    ),
    Export(
        id="cuts",
        name="Cut list as a table",
        what="for a spreadsheet",
        ending=".cuts.csv",
        media_type="text/csv",
        write=_cut_table,
        place=150,
        takes=("prices",),
    ),
)

EXPORTS: dict[str, Export] = {entry.id: entry for entry in _ENTRIES}
KINDS: dict[str, Export] = {entry.kind: entry for entry in _ENTRIES if entry.kind}


def kind_of_file(name: str | Path) -> str | None:
    """Which of `KINDS` the ending of a file's name speaks of; None where it speaks of none.

    Examples
    --------
    >>> kind_of_file("gate.GLB"), kind_of_file("gate.csv"), kind_of_file("gate.stp"), kind_of_file("gate.obj")
    ('glb', 'parts', 'step', None)
    """
    ending = Path(name).suffix.lower().replace(".stp", ".step")
    return next((kind for kind, entry in KINDS.items() if ending in (entry.suffix, f".{kind}")), None)


def export(
    frame: Frame,
    stocks: Mapping[str, Stock],
    to: str,
    *,
    angle: str | None = None,
    drilled: bool = True,
    prices: PriceList | None = None,
    kept: Callable[[], BuilderRecord] | None = None,
) -> bytes:
    """A frame in a file for other programs.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    to : str
        One of `KINDS`.
    angle : str, optional
        Of the views in DXF and SVG: "first", which is the default, or "third".
    drilled : bool
        Whether members in glTF and STEP have their holes, with the bolts in them.
    prices : PriceList, optional
        For the parts list.
    kept : callable, optional
        Fetches what the builder keeps beside the frame, for the page with all papers.

    Returns
    -------
    bytes
        The whole file.

    Raises
    ------
    ReconError
        Where `to` is not known, or the frame has no members, or no pitch and the file needs one.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> export(Frame((post,)), {}, "members").decode().splitlines()[1]
    'A,,12,,,0,0,0,0,0,1,1,1'
    """
    if to not in KINDS:
        raise ReconError(
            f"'{to}' is nothing that a frame can be exported to; choose one of {', '.join(KINDS)}."
        )
    check_members(frame)
    return KINDS[to].make(Request(frame, stocks, angle, drilled, prices, kept=kept))
