"""The frame in space for pages that need no network: a canvas, what it draws, and the script that draws."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path

import numpy as np

from recon.frame.boxes import CORNER_SIGNS, corners
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.progress import step_items
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.drawing.projections import drawn_hole

HINT = "Drag to turn it, scroll or pinch to come closer; arrow keys turn it, too."
DECIMALS = 3  # of pitches: 0.04 mm


@dataclass(frozen=True)
class SpaceView:
    """What a page needs to show a frame in space.

    Attributes
    ----------
    html : str
        The canvas, with what it draws.
    script : str
        The script, to stand after it.
    """

    html: str
    script: str


@cache
def viewer_script() -> str:
    """The script that draws the frame and turns it."""
    return Path(__file__).with_name("viewer.js").read_text(encoding="utf-8")


def space_view(
    frame: Frame,
    stocks: Mapping[str, Stock],
    title: str,
    order: BuildOrder | None = None,
    up_to: int | None = None,
) -> SpaceView:
    """A frame in space, to be turned; with its steps, also as it is up to each of them.

    Parameters
    ----------
    frame : Frame
        With one member at least.
    stocks : mapping of str to Stock
    title : str
        What it is called.
    order : BuildOrder, optional
        Its steps.
    up_to : int, optional
        The step up to which it is shown first, from 1; the last by default.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> view = space_view(Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5),)), {}, "Post")
    >>> "<canvas" in view.html, '"holes": 5' in view.html
    (True, True)
    """
    items = step_items(order) if order else ()
    step_of = {id: n for n, item in enumerate(items, 1) for id in (*item.members, *item.fittings)}
    data = json.dumps(_drawn(frame, drawn_hole(frame, stocks), step_of), ensure_ascii=True).replace(
        "<", "\\u003c"
    )
    steps = len(items)
    first = min(up_to or steps, steps)
    words = "All steps" if first == steps else f"Up to step {first} of {steps}"
    slider = (
        f'<label class="space-steps"><span id="space-words">{words}</span> <input id="space-step" '
        f'type="range" min="1" max="{steps}" value="{first}" autocomplete="off" '
        'aria-label="Up to which step"></label>'
        if steps > 1
        else ""
    )
    return SpaceView(
        f'<canvas id="space" tabindex="0" role="img" aria-label="{escape(title)} in space: drag, or use the '
        f'arrow keys, to turn it"></canvas>{slider}\n<p class="space-hint">{HINT}</p>\n'
        f'<script type="application/json" id="frame">{data}</script>',
        viewer_script(),
    )


def _drawn(frame: Frame, hole: float, step_of: Mapping[str, int]) -> dict[str, object]:
    """What the script draws, pitches; what no step brings in is there from the first on."""
    members = [(m.id, m.holes, m.width, corners(m), step_of.get(m.id, 0)) for m in frame.members]
    fittings = [
        (id, 0, 1.0, box.centre + (CORNER_SIGNS * box.half) @ box.axes, step_of.get(id, 0))
        for id, box in fitting_boxes(frame).items()
    ]
    points = np.array([place for *_, place, _ in (*members, *fittings)])
    low, high = points.min(axis=(0, 1)), points.max(axis=(0, 1))
    x, y, z = (high - low).tolist()
    return {
        "middle": np.round((low + high) / 2, DECIMALS).tolist(),
        "spans": [round(math.hypot(x, y), DECIMALS), round(z, DECIMALS)],
        "hole": round(hole, DECIMALS),
        "members": [
            {
                "id": id,
                "holes": holes,
                "width": width,
                "corners": np.round(place, DECIMALS).tolist(),
                "step": step,
            }
            for id, holes, width, place, step in (*members, *fittings)
        ],
    }
