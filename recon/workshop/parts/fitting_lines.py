"""Fittings in the parts list: one line for those that are alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recon.frame.fitting import Fitting
from recon.frame.length import mm_text
from recon.frame.model import Frame
from recon.workshop.hardware.bolts import bolt_words
from recon.workshop.hardware.fitting_bolts import shared_bolts
from recon.workshop.parts.parts_model import HardwareLine
from recon.workshop.wording import holes_in_words, listed


def fitting_lines(fittings: Sequence[Fitting]) -> list[HardwareLine]:
    """A line for each kind, name, size and mass, as if none of them were owned or had a price.

    Examples
    --------
    >>> foot = Fitting("F1", "foot", (("A", 0),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> [(line.name, line.count, line.where) for line in fitting_lines([foot])]
    [('foot 40 x 40 x 20 mm', 1, ('F1: hole 1 of A',))]
    """
    groups: dict[tuple[object, ...], list[Fitting]] = {}
    for f in fittings:
        groups.setdefault((f.kind, f.name, f.size_mm, f.mass_kg), []).append(f)
    return [
        HardwareLine(
            "fitting",
            bought_as(group[0]),
            count=len(group),
            owned=0,
            grip_mm=None,
            flats_mm=None,
            seen=0,
            assumed=0,
            where=tuple(f"{f.id}: {holes_in_words(f.holes)}" for f in group),
            mass_kg=group[0].mass_kg,
            cost=None,
            detail=f"{group[0].kind}, {size_words(group[0])}" if group[0].name else "",
        )
        for group in groups.values()
    ]


def bought_as(fitting: Fitting) -> str:
    """What a fitting is called in lists: its name, else what it is and its size."""
    return fitting.name or f"{fitting.article} {size_words(fitting)}"


def size_words(fitting: Fitting) -> str:
    """'95 x 67 x 120 mm': along its first hole's member, across, and out of the face."""
    return " x ".join(f"{x:g}" for x in fitting.size_mm) + " mm"


def fitting_notes(frame: Frame) -> Iterator[str]:
    """Which bolts of laps hold fittings, too, and what is not known of these."""
    for bolt, fittings in shared_bolts(frame).items():
        more = sum(f.plate_mm for f in fittings)
        held = listed(f.words for f in fittings)
        yield f"The bolt through {bolt_words(bolt)} holds {held}, too: it is longer by {mm_text(more)}."
    unknown = [f.id for f in frame.fittings if f.mass_kg is None]
    if unknown:
        verb = "has" if len(unknown) == 1 else "have"
        yield f"{listed(unknown)} {verb} no weight given, and {'is' if verb == 'has' else 'are'} not counted."
