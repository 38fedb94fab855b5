"""The fittings of a frame for the page: what they are, where they are, and their outlines in the photos."""

from __future__ import annotations

from typing import Any

from recon.corrections.fitting_trial import box_json
from recon.corrections.on_photos import box_outlines
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.model import Frame
from recon.workshop.sides import Sides
from recon.workshop.wording import holes_in_words


def fitting_rows(frame: Frame) -> list[dict[str, Any]]:
    """A row for each fitting.

    Returns
    -------
    list of dict
        Its fields as in the frame file; `words` ("castor F1"), `at` ("holes 4 and 6 of C"), `side`; `box`,
        {middle, axes, half} in pitches, or null; `shapes`, photo -> edges, px.

    Examples
    --------
    >>> fitting_rows(Frame(()))
    []
    """
    if not frame.fittings:
        return []
    boxes, sides = fitting_boxes(frame), Sides(frame.members)
    outlines = box_outlines(frame, boxes)
    return [
        {
            "id": f.id,
            "kind": f.kind,
            "name": f.name,
            "holes": [[id, hole] for id, hole in f.holes],
            "face": list(f.face),
            "size_mm": list(f.size_mm),
            "plate_mm": f.plate_mm,
            "mass_kg": f.mass_kg,
            "shift_mm": list(f.shift_mm),
            "words": f.words,
            "at": holes_in_words(f.holes),
            "side": sides.name(f.face),
            "box": box_json(boxes[f.id]) if f.id in boxes else None,
            "shapes": {photo: found[f.id] for photo, found in outlines.items() if f.id in found},
        }
        for f in frame.fittings
    ]
