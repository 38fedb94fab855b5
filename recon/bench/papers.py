"""All papers of scaffolds of 12, about 60 and about 300 members, in processor time: each stage, what 25 times
the members cost, and shares of the goals.

`python -m recon.bench papers [--command]`; `--command` also runs `recon papers` itself, start and imports and
all.  Processor time, since it does not depend on what else the machine does; on a quiet one it is what the
clock shows.  The goals are for one core of a virtual server (AMD EPYC): 4 s for 12 members, 15 s for 60, 60 s
for 300; for 300 members 3 s of steps, and 8 s of all the rest.  So that runs on other machines compare, times
are also given as multiples of a yardstick: a million numbers written and read, and two million sorted.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from recon.bench.scaffold import scaffold
from recon.frame.files import save_frame
from recon.frame.model import Frame
from recon.frame.stock import Stock, load_stocks
from recon.show.picture import draw_frame, encode_png
from recon.workshop.assembly.steps import build_steps
from recon.workshop.drawing.projections import drawn_hole
from recon.workshop.papers.choices import Enclosed
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.papers.labels import labels_pdf
from recon.workshop.papers.pdf import papers_pdf

SIZES = ((1, 1, 2), (2, 2, 4), (4, 4, 7))  # bays along x and y, and levels: 12, 57 and 305 members
GOALS_S = (4.0, 15.0, 60.0)
STAGES = ("steps", "lists, drawings", "PDF", "labels", "HTML", "picture")
STEPS_GOAL_S, REST_GOAL_S = 3.0, 8.0  # of the largest

Result = TypeVar("Result")


def run(args: Sequence[str]) -> int:
    """Print a line for each size, in seconds of processor time, and their ratios."""
    stocks = load_stocks()
    _measure(scaffold(*SIZES[0]), stocks)  # what is loaded once is not counted
    yardstick = _yardstick()
    print(
        f"{'members':>8}"
        + "".join(f"{stage:>17}" for stage in STAGES)
        + f"{'all':>9}{'of goal':>9}{'pages':>7}"
    )
    totals, seconds = [], [0.0]
    for size, goal in zip(SIZES, GOALS_S):
        frame = scaffold(*size)
        seconds, pages = _measure(frame, stocks)
        totals.append((len(frame.members), sum(seconds)))
        print(
            f"{len(frame.members):8}"
            + "".join(f"{s:17.2f}" for s in seconds)
            + f"{sum(seconds):9.2f}{sum(seconds) / goal:9.0%}{pages:7}",
            flush=True,
        )
        if "--command" in args:
            took = _command(frame)
            print(f"{'':8} recon papers, start and all: {took:.2f} s, {took / goal:.0%} of the goal")
    (few, short), *_, (many, long) = totals
    rest = long - seconds[0]
    print(f"{many / few:.0f} times the members, {long / short:.0f} times the time")
    print(f"of {many} members, in seconds, share of the goal, and yardsticks of {yardstick:.2f} s:")
    for what, took, goal in (("steps", seconds[0], STEPS_GOAL_S), ("all the rest", rest, REST_GOAL_S)):
        print(f"{what:>14}{took:9.2f}{took / goal:9.0%}{took / yardstick:9.1f}")
    return 0


def _measure(frame: Frame, stocks: Mapping[str, Stock]) -> tuple[list[float], int]:
    """Seconds for each of STAGES, and the pages of the PDF."""
    seconds = []

    def timed(work: Callable[..., Result], *args: Any, **options: Any) -> Result:
        start = time.process_time()
        result = work(*args, **options)
        seconds.append(time.process_time() - start)
        return result

    steps = timed(build_steps, frame, drawn_hole(frame, stocks))
    document = timed(compose_papers, frame, stocks, enclosed=Enclosed(steps=steps)).document
    pdf = timed(papers_pdf, document)
    timed(labels_pdf, frame, stocks, "a4")
    timed(papers_html, document)
    timed(lambda: encode_png(draw_frame(frame, (1600, 1100))))
    return seconds, len(re.findall(rb"/Type /Page\b", pdf))


def _command(frame: Frame) -> float:
    """Processor time of the command that writes all papers of a frame."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frame.json"
        save_frame(frame, path)
        before = os.times()
        subprocess.run(
            [sys.executable, "-m", "recon", "papers", str(path), "-o", str(Path(folder) / "papers")],
            check=True,
            capture_output=True,
        )
        after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def _yardstick() -> float:
    """Processor time of work that this machine is measured by."""
    values = np.random.default_rng(0).random(2_000_000)
    start = time.process_time()
    np.sort(values)
    text = " ".join(["%.2f"] * 1_000_000) % tuple(values[:1_000_000].tolist())
    sum(map(float, text.split(" ")))
    return time.process_time() - start
