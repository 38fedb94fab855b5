"""The steps of putting a frame together, as rows for the page that shows one at a time; their pictures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.progress import StepItems, step_items, through_of
from recon.workshop.assembly.stage import Stage
from recon.workshop.assembly.step_words import head_words
from recon.workshop.assembly.steps import LOOSE, NO_ORDER, SOME_ORDER, BuildOrder, build_steps
from recon.workshop.drawing.projections import drawn_hole
from recon.workshop.drawing.vector import sheet_svg
from recon.workshop.hardware.bolts import Bolt, Fastening, bolt_words
from recon.workshop.hardware.kits import kit_words
from recon.workshop.papers.space import space_view
from recon.workshop.parts.fitting_lines import bought_as
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.sides import Sides
from recon.workshop.wording import lap_words, plural

# Width and height of a step's picture, mm, by the shape of the screen: smaller than on paper, so that its
# lettering of 6 points and more is read at arm's length.  This project's choices.
SHAPES = {"wide": (96.0, 68.0), "tall": (66.0, 58.0)}

Row = dict[str, Any]


class StepsOf:
    """The steps of one frame, worked out once.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("A", (0, 0, 0), (0, 1, 0), 12), Member("B", (-2, 5, 1), (1, 0, 0), 8)
    >>> (step,) = StepsOf(Frame(members, find_joints(members)), {}).rows()["steps"]
    >>> step["bolts"][0]["words"], step["bolts"][0]["head"]
    ('hole 6 of A on hole 3 of B', 'on top')
    """

    def __init__(self, frame: Frame, stocks: Mapping[str, Stock]) -> None:
        self.frame, self.stocks = frame, stocks
        self._hole = drawn_hole(frame, stocks)
        self.order: BuildOrder = build_steps(frame, self._hole)
        self._items = step_items(self.order)
        self._stage = Stage(frame, self._hole)
        self._fastenings = _fastenings(frame, stocks)
        self._sides = Sides(frame.members)
        self._fittings = {f.id: f for f in frame.fittings}

    def rows(self) -> Row:
        """All steps but their pictures.

        Returns
        -------
        dict
            {steps: [{number, group: of the sub-frame or 0, text, key: of the step, members: [{id, words}]
            that come in for the first time, fittings: [{id, words}] that are put on, bolts: [{through: [[id,
            hole]], words, name, head}], bare: sentences, kit: what to have at hand}], why: sentences on what
            stands in the way of an order, finish: what to do at the end, loose: how far to tighten bolts,
            caution}.
        """
        order = self.order
        why = [SOME_ORDER if order.steps else NO_ORDER, *order.why] if order.stuck else []
        return {
            "steps": [self._row(step, item) for step, item in zip(order.steps, self._items)],
            "why": why,
            "finish": list(order.finish),
            "loose": LOOSE,
            "caution": CAUTION,
        }

    def _row(self, step: BuildStep, item: StepItems) -> Row:
        kit = [self._fastenings.get(bolt) for bolt in step.bolts]
        return {
            "number": step.number,
            "group": step.group,
            "text": step.text,
            "key": {"kind": item.key.kind, "members": list(item.key.members), "time": item.key.time},
            "members": [{"id": id, "words": self._member_words(id)} for id in item.members],
            "fittings": [{"id": id, "words": bought_as(self._fittings[id])} for id in item.fittings],
            "bolts": [self._bolt_row(step, k) for k in range(len(step.bolts))],
            "bare": list(map(lap_words, step.bare)),
            "kit": kit_words(kit) if kit else "",
        }

    def _member_words(self, id: str) -> str:
        m, pitch_mm = self.frame.member(id), self.frame.pitch_mm
        length = f", {both_text(m.holes * pitch_mm)}" if pitch_mm else ""
        return f"{plural(m.holes, 'hole')}{length}"

    def _bolt_row(self, step: BuildStep, k: int) -> Row:
        bolt = step.bolts[k]
        fastening = self._fastenings.get(bolt)
        return {
            "through": [list(hole) for hole in through_of(bolt)],
            "words": bolt_words(bolt),
            "name": fastening.name if fastening else "",
            "head": head_words(step.heads[k], step.up, self._sides) if step.heads else "",
        }

    def picture(self, number: int, shape: str) -> str:
        """The picture of a step as SVG.

        Parameters
        ----------
        number : int
            Of the step, from 1.
        shape : str
            One of `SHAPES`.

        Raises
        ------
        ReconError
            Where there is no such step.
        """
        if not 1 <= number <= len(self.order.steps) or shape not in SHAPES:
            raise ReconError("There is no such step now.")
        return sheet_svg(self._stage.picture(self.order.steps[number - 1], SHAPES[shape]))

    def space(self, up_to: int) -> str:
        """The frame in space as it is up to a step, from 1: what `papers.space.viewer_script` draws, as
        HTML."""
        return space_view(self.frame, self.stocks, self.frame.name or "The frame", self.order, up_to).html


def _fastenings(frame: Frame, stocks: Mapping[str, Stock]) -> dict[Bolt, Fastening]:
    """What each bolt is, as far as that is known."""
    try:
        parts = parts_list(frame, stocks)
    except ReconError:  # no pitch: the steps are the same
        return {}
    return {bolt: fastening for bolt, fastening in parts.bolts if fastening}
