"""All papers of scaffolds of 12, about 60 and about 300 members: seconds for each stage, and what 25 times
the members cost.

The goals are 4 s for 12 members, 15 s for 60 and 60 s for 300, start of the program apart.
"""

import re
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from recon.bench.scaffold import scaffold
from recon.frame.model import Frame
from recon.frame.stock import Stock, load_stocks
from recon.show.picture import draw_frame, encode_png
from recon.workshop.assembly.steps import build_steps
from recon.workshop.drawing.projections import drawn_hole
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.papers.pdf import papers_pdf

SIZES = ((1, 1, 2), (2, 2, 4), (4, 4, 7))  # bays along x and y, and levels: 12, 57 and 305 members
GOALS_S = (4.0, 15.0, 60.0)

Result = TypeVar("Result")


def run(args: Sequence[str]) -> int:
    """Print a line for each size, in seconds, and their ratio."""
    stocks = load_stocks()
    _measure(scaffold(*SIZES[0]), stocks)  # what is loaded once is not counted
    print(
        f"{'members':>8}{'picture':>9}{'steps':>9}{'lists, drawings':>17}{'PDF':>9}{'HTML':>9}{'all':>9}"
        f"{'goal':>7}{'pages':>7}"
    )
    totals = []
    for size, goal in zip(SIZES, GOALS_S):
        frame = scaffold(*size)
        seconds, pages = _measure(frame, stocks)
        totals.append((len(frame.members), sum(seconds)))
        picture, steps, lists, pdf, html = seconds
        print(
            f"{len(frame.members):8}{picture:9.2f}{steps:9.2f}{lists:17.2f}{pdf:9.2f}{html:9.2f}"
            f"{sum(seconds):9.2f}{goal:7.0f}{pages:7}",
            flush=True,
        )
    (few, short), *_, (many, long) = totals
    print(f"{many / few:.0f} times the members, {long / short:.0f} times the time")
    return 0


def _measure(frame: Frame, stocks: Mapping[str, Stock]) -> tuple[list[float], int]:
    """Seconds for picture, steps, lists and drawings, PDF, HTML; and the pages of the PDF."""
    seconds = []

    def timed(work: Callable[..., Result], *args: Any, **options: Any) -> Result:
        start = time.perf_counter()
        result = work(*args, **options)
        seconds.append(time.perf_counter() - start)
        return result

    picture = timed(lambda: encode_png(draw_frame(frame, (1600, 1100))))
    steps = timed(build_steps, frame, drawn_hole(frame, stocks))
    document = timed(compose_papers, frame, stocks, picture=picture, steps=steps).document
    pdf = timed(papers_pdf, document)
    timed(papers_html, document)
    return seconds, len(re.findall(rb"/Type /Page\b", pdf))
