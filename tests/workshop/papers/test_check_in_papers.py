"""What the check finds stands in the papers in its own words, and nothing there says otherwise."""

import re
from html import unescape
from itertools import pairwise
from pathlib import Path

import pytest

from recon.frame.files import load_frame
from recon.frame.stock import load_stocks
from recon.workshop.drawing.projections import drawn_hole
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.rigidity.frame_check import addition_effect, check_frame
from recon.workshop.rigidity.play import clearance

STOCKS = load_stocks()
CASES = Path(__file__).parents[2] / "data" / "workshop"


def spaced(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("case", ["half", "k_rectangle", "sledge"])
def test_papers_say_what_the_check_says_and_nothing_against_it(case):
    # Papers said of a member half a hole off "touches no other member" where the check names what it touches,
    # nothing of a frame that racks, and one length as 514.3 and 514.4 mm.
    frame = load_frame(CASES / f"{case}.json", STOCKS)
    report = check_frame(frame, hole=drawn_hole(frame, STOCKS), play=clearance(frame, STOCKS))
    page = papers_html(compose_papers(frame, STOCKS).document)
    shown = spaced(unescape(re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)))
    for finding in report.findings:
        assert finding.text in shown
    for addition in report.additions:
        assert addition.text in shown and addition_effect(addition, report) in shown
    assert report.mobility.motions and "This frame racks" in shown
    touching = [f.members[0] for f in report.findings if f.kind == "loose" and "so no bolt can" in f.text]
    assert bool(touching) == (case == "half")
    assert not any(f"{id} touches no other member" in shown for id in touching)
    lengths = sorted({float(mm) for mm in re.findall(r"(\d{3,}(?:\.\d)?) mm", shown)})
    assert not [(a, b) for a, b in pairwise(lengths) if b - a < 0.15]
