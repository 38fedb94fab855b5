"""How fittings are put on, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.fitting import BOARDS, Fitting, Hole
from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.assembly.step_words import head_words
from recon.workshop.hardware.bolts import Bolt, bolt_words
from recon.workshop.hardware.fitting_bolts import shared_bolts
from recon.workshop.sides import ALONG, Sides
from recon.workshop.wording import holes_in_words, listed, plural

ROLLS = ("castor", "wheel")
ROLLING = "Once it stands on its wheels it rolls: brake them, or put wedges at them, while you work."
NO_WAY = "No straight way to it with room for its bolts was found: try it before you tighten the rest."
SQUARE_FIRST = "Measure first whether the frame is square: the board keeps it as it is."
Bolting = tuple[Sequence[Bolt], Sequence[Vector]]  # bolts, and on which side the head of each is


class FittingWords:
    """Sentences that say how to put fittings on.

    Parameters
    ----------
    frame : Frame
    sides : Sides
        Names of its sides.
    squared : bool
        Whether there are diagonals to measure.
    """

    def __init__(self, frame: Frame, sides: Sides, squared: bool) -> None:
        self.frame, self.sides, self.squared = frame, sides, squared
        self._shared: dict[str, list[Hole]] = {}
        for bolt, fittings in shared_bolts(frame).items():
            for f in fittings:
                self._shared.setdefault(f.id, []).extend(hole for hole in f.holes if hole in bolt.through)

    def step(
        self,
        fittings: Sequence[Fitting],
        bolting: Bolting,
        direction: Vector,
        up: FloatArray,
        down: float,
        known: bool,
    ) -> str:
        """What to do to put like fittings on.

        Parameters
        ----------
        fittings : sequence of Fitting
        bolting : (bolts, heads)
            All their bolts.
        direction : (3,)
            In which they come.
        up : (3,)
            Which way is up.
        down : float
            How far they reach below what is there, pitches; at most 0 where they do not.
        known : bool
            Whether a way in and room for all bolts was found.
        """
        sentences = [self._lift(down)] if down > 0 else []
        if self.squared and fittings[0].kind in BOARDS and len(fittings[0].members) > 1:
            sentences.append(SQUARE_FIRST)
        sentences += [self._put(fittings, bolting, up), *self._way(fittings[0], direction)]
        sentences += [words for f in fittings for words in self._too(f)]
        if not known:
            sentences.append(NO_WAY)
        if fittings[0].kind in ROLLS:
            sentences.append(ROLLING)
        return " ".join(sentences)

    def _lift(self, down: float) -> str:
        pitch_mm = self.frame.pitch_mm
        far = both_text(down * pitch_mm) if pitch_mm else f"{down:.3g} pitches"
        return f"Lay what is there on a side, or set it on blocks more than {far} high."

    def _put(self, fittings: Sequence[Fitting], bolting: Bolting, up: FloatArray) -> str:
        """'Put on castor F1 (castor 80) at holes 3 and 5 of C, on the bottom side, with 2 bolts.'"""
        first, (bolts, heads) = fittings[0], bolting
        name = f" ({first.name})" if first.name else ""
        on = f", on the {self.sides.side(first.face)}"
        counted = f", with {plural(len(bolts), 'bolt')}" if bolts else ""
        places = [head_words(head, tuple(up), self.sides) for head in heads]
        if counted and len(set(places)) == 1:
            counted += f", head{'s' if len(bolts) > 1 else ''} {places[0]}"
        if len(fittings) == 1:
            return f"Put on {first.words}{name} at {holes_in_words(first.holes)}{on}{counted}."
        ids, kind = listed(f.id for f in fittings), "" if first.kind == "other" else f"{first.kind}s "
        places = [f"{f.id} at {holes_in_words(f.holes)}" for f in fittings]
        return f"Put on {kind}{ids}{name}{on}{counted}: {'; '.join(places)}."

    def _way(self, first: Fitting, direction: Vector) -> list[str]:
        """Where it comes from, where that is not straight onto its face."""
        back = 0.0 - np.asarray(direction, float)
        if back @ np.asarray(first.face, float) > ALONG:
            return []
        name = self.sides.name(back)
        return [f"It comes in from {'above' if name == 'top' else f'the {name}'}."]

    def _too(self, f: Fitting) -> list[str]:
        """The holes in which the bolt of a lap holds it, too."""
        shared = self._shared.get(f.id, [])
        if not shared:
            return []
        where = f"In {holes_in_words(shared)} the"
        if len(shared) > 1:
            bolts = f"longer bolts of the joints go through {f.id}, too"
            return [f"{where} {bolts}: take each out and put it in again through both."]
        return [f"{where} joint's longer bolt goes through {f.id}, too: take it out and put it in again."]


def shared_sentence(bolt: Bolt, fitting: Fitting, step: int) -> str:
    """What to do about a bolt of a lap that holds a fitting, too, which is put on in a later step.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.workshop.hardware.bolts import find_bolts
    >>> pair = Member("A", (0, 0, 0), (1, 0, 0), 6), Member("B", (2, -2, 1), (0, 1, 0), 6)
    >>> foot = Fitting("F1", "foot", (("A", 2),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> (bolt,) = find_bolts(Frame(pair, find_joints(pair)))
    >>> shared_sentence(bolt, foot, 4)
    'The bolt through hole 3 of A on hole 3 of B is the longer one: from step 4 on it holds foot F1, too.'
    """
    where = bolt_words(bolt)
    return f"The bolt through {where} is the longer one: from step {step} on it holds {fitting.words}, too."
