"""What can be taken away from a frame, each made by the workshop's functions."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

from recon.frame.files import frame_to_text
from recon.show.picture import HOLE, draw_frame, encode_png
from recon.show.summary import summary_text
from recon.workshop.cut_sheet import cut_csv, cut_html
from recon.workshop.cutting import cut_list
from recon.workshop.parts import parts_list
from recon.workshop.parts_sheet import parts_csv, parts_html


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


def _text(make):
    return lambda frame, stocks: make(frame, stocks).encode("utf-8")


PAPERS = {
    "frame": Paper("Frame file", "members, laps and cameras, for this program and others", ".frame.json", "application/json",
                   _text(lambda f, s: frame_to_text(f))),
    "summary": Paper("Summary", "members by length, laps, what is not sure", ".txt", "text/plain", _text(lambda f, s: summary_text(f, s))),
    "picture": Paper("Picture", "the frame in space with labels and lengths", ".png", "image/png", _picture),
    "parts-sheet": Paper("Parts list", "for the printer", ".parts.html", "text/html", _text(lambda f, s: parts_html(parts_list(f, s), f))),
    "parts": Paper("Parts list as a table", "for a spreadsheet", ".parts.csv", "text/csv", _text(lambda f, s: parts_csv(parts_list(f, s)))),
    "cut-sheet": Paper("Cut list", "each stick with its cuts, for the printer", ".cuts.html", "text/html", _text(lambda f, s: cut_html(cut_list(f, s), f.name))),
    "cuts": Paper("Cut list as a table", "for a spreadsheet", ".cuts.csv", "text/csv", _text(lambda f, s: cut_csv(cut_list(f, s)))),
}
