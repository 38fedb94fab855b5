"""The members and the joints of a frame as tables for a spreadsheet."""

from __future__ import annotations

import numpy as np

from recon.frame.length import inch_text
from recon.frame.model import Frame
from recon.workshop.formats import csv_text
from recon.workshop.hardware.bolts import find_bolts

MEMBER_COLUMNS = (
    "label",
    "stock",
    "holes",
    "length_mm",
    "length_in",
    "first_x",
    "first_y",
    "first_z",
    "direction_x",
    "direction_y",
    "direction_z",
    "width",
    "confidence",
)
JOINT_COLUMNS = (
    "a",
    "a_hole",
    "b",
    "b_hole",
    "bolt",
    "three_way",
    "bolt_number",
    "x",
    "y",
    "z",
    "axis_x",
    "axis_y",
    "axis_z",
    "bolt_by",
)


def members_csv(frame: Frame) -> str:
    """A row for each member.

    Columns named `first` are the centre of its hole 1 and `width` is its section's, both in pitches; lengths
    are empty where the frame's pitch is not known.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> members_csv(Frame((post,), pitch_mm=38.1)).splitlines()[1]
    'A,,12,457.2,18 in,0,0,0,0,0,1,1,1'
    """
    rows = []
    for m in frame.members:
        length = m.holes * frame.pitch_mm if frame.pitch_mm else None
        inches = inch_text(length) if length else None
        rows.append((m.id, m.stock, m.holes, length, inches, *m.first, *m.direction, m.width, m.confidence))
    return csv_text(MEMBER_COLUMNS, rows)


def joints_csv(frame: Frame) -> str:
    """A row for each lap, its holes counted from 1.

    (x, y, z) is the middle between the two holes, pitches.  Laps with the same `bolt_number` share one bolt;
    it is empty where there is none.
    """
    numbers = {joint: k for k, bolt in enumerate(find_bolts(frame), 1) for joint in bolt.joints}
    members = {m.id: m for m in frame.members}
    rows = []
    for j in frame.joints:
        middle = (members[j.a].hole_centre(j.a_hole) + members[j.b].hole_centre(j.b_hole)) / 2
        rows.append(
            (
                j.a,
                j.a_hole + 1,
                j.b,
                j.b_hole + 1,
                j.bolt,
                "yes" if j.three_way else "no",
                numbers.get(j),
                *(float(x) for x in np.round(middle, 6)),
                *j.axis,
                j.bolt_by,
            )
        )
    return csv_text(JOINT_COLUMNS, rows)
