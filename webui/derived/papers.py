"""What can be taken away from a frame, each made by the workshop's functions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from recon.frame.files import frame_to_text
from recon.show.picture import HOLE, draw_frame, encode_png
from recon.show.summary import summary_text
from recon.workshop.cutting.cut_formats import cut_csv, cut_html
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.export.registry import export
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.papers.pdf import papers_pdf
from recon.workshop.parts.parts_formats import parts_html
from recon.workshop.parts.parts_list import parts_list


@dataclass(frozen=True)
class Paper:
    """make : (frame, stocks) -> bytes; raises ReconError where the frame does not allow it."""

    name: str
    what: str
    ending: str
    mimetype: str
    make: Callable


def _picture(frame, stocks):
    holes = [stocks[m.stock].hole for m in frame.members if m.stock in stocks]
    return encode_png(draw_frame(frame, hole=max(holes, default=HOLE)))


def _document(frame, stocks, paper: str):
    return compose_papers(frame, stocks, paper=paper, picture=_picture(frame, stocks)).document


def _export(to: str):
    return lambda frame, stocks: export(frame, stocks, to)


def _text(make):
    return lambda frame, stocks: make(frame, stocks).encode("utf-8")


PAPERS = {
    "papers-a4": Paper(
        "All papers, A4",
        "picture, parts, cuts, views, joints, steps, for the printer",
        ".a4.pdf",
        "application/pdf",
        lambda f, s: papers_pdf(_document(f, s, "a4")),
    ),
    "papers-letter": Paper(
        "All papers, Letter",
        "the same on Letter",
        ".letter.pdf",
        "application/pdf",
        lambda f, s: papers_pdf(_document(f, s, "letter")),
    ),
    "papers-html": Paper(
        "All papers in one page",
        "for any browser, no network",
        ".papers.html",
        "text/html",
        _text(lambda f, s: papers_html(_document(f, s, "a4"))),
    ),
    "frame": Paper(
        "Frame file",
        "members, laps and cameras, for this program and others",
        ".frame.json",
        "application/json",
        _text(lambda f, s: frame_to_text(f)),
    ),
    "views": Paper(
        "Three views", "front, top and side on a sheet (SVG)", ".svg", "image/svg+xml", _export("svg")
    ),
    "dxf": Paper(
        "Views for a drawing program", "DXF at full size in mm", ".dxf", "application/dxf", _export("dxf")
    ),
    "solids": Paper(
        "Drilled members in space", "glTF in one file (GLB)", ".glb", "model/gltf-binary", _export("glb")
    ),
    "summary": Paper(
        "Summary",
        "members by length, laps, what is not sure",
        ".txt",
        "text/plain",
        _text(lambda f, s: summary_text(f, s)),
    ),
    "picture": Paper("Picture", "the frame in space with labels and lengths", ".png", "image/png", _picture),
    "parts-sheet": Paper(
        "Parts list",
        "for the printer",
        ".parts.html",
        "text/html",
        _text(lambda f, s: parts_html(parts_list(f, s), f)),
    ),
    "parts": Paper("Parts list as a table", "for a spreadsheet", ".parts.csv", "text/csv", _export("parts")),
    "joints": Paper(
        "Joint table",
        "every lap with its holes, for a spreadsheet",
        ".joints.csv",
        "text/csv",
        _export("joints"),
    ),
    "members": Paper(
        "Member table",
        "places and lengths, for a spreadsheet",
        ".members.csv",
        "text/csv",
        _export("members"),
    ),
    "cut-sheet": Paper(
        "Cut list",
        "each stick with its cuts, for the printer",
        ".cuts.html",
        "text/html",
        _text(lambda f, s: cut_html(cut_list(f, s), f.name)),
    ),
    "cuts": Paper(
        "Cut list as a table",
        "for a spreadsheet",
        ".cuts.csv",
        "text/csv",
        _text(lambda f, s: cut_csv(cut_list(f, s))),
    ),
}
