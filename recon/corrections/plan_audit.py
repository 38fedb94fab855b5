"""The build held against its plan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from recon.corrections import on_photos
from recon.errors import ReconError
from recon.frame.files import load_frame
from recon.frame.lattice import align, transform
from recon.frame.model import Frame
from recon.workshop.audit.differences import audit_frame

PLAN = "plan.json"
DRAWN = (
    "mirrored",
    "length",
    "shift",
    "both",
    "moved",
    "missing",
)  # differences of which the plan's members are drawn


def load_plan(folder: Path, stocks) -> Frame | None:
    """The plan of the build in `folder`, or None.  Raises ReconError where its file is broken."""
    path = folder / PLAN
    return load_frame(path, stocks) if path.is_file() else None


def held_against(frame: Frame, plan: Frame | None) -> dict:
    """{verdict, differences, not_checked: [{text, members of the build, severity}], shapes}.

    shapes : for every photo the outlines of the plan's members that differ, where the plan has them.  Raises ReconError where
    there is no plan.
    """
    if plan is None:
        raise ReconError("There is no plan to hold this build against; load one.")
    found, ids = audit_frame(frame, plan), {m.id for m in frame.members}

    def row(d):
        return {
            "text": d.text,
            "severity": d.severity,
            "kind": d.kind,
            "members": [id for id in (found.names.get(m, m) for m in d.members) if id in ids],
        }

    return {
        "verdict": found.verdict,
        "differences": list(map(row, found.differences)),
        "not_checked": list(map(row, found.not_checked)),
        "shapes": _shapes(
            frame, plan, {id for d in found.differences if d.kind in DRAWN for id in d.members}
        ),
    }


def _shapes(frame, plan, ids) -> dict:
    there = align(plan, frame)
    if there is None or not ids:
        return {}
    members = tuple(
        m for m in transform(replace(plan, photos=()), there.turn, there.shift).members if m.id in ids
    )
    found = on_photos.shapes(replace(frame, members=members, joints=()))
    return {photo: [shape["edges"] for shape in shapes.values()] for photo, shapes in found.items()}
