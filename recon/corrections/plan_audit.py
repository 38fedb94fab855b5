"""A build compared with its plan, as the page shows it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from recon.corrections import on_photos
from recon.errors import ReconError
from recon.frame.lattice import align, transform
from recon.frame.model import Frame
from recon.workshop.audit.differences import audit_frame

# Kinds of differences of which the plan's members are drawn on the photos.
DRAWN = ("mirrored", "length", "shift", "both", "moved", "missing")


def compare_with_plan(frame: Frame, plan: Frame | None) -> dict[str, Any]:
    """What differs between a build and its plan.

    Returns
    -------
    dict
        `verdict`; `differences`, `not_checked` and `said`, each a list of {text, severity, kind, members of
        the build}; `shapes`, for every photo the outlines of the plan's members that differ, where the plan
        has them.

    Raises
    ------
    ReconError
        Where there is no plan.
    """
    if plan is None:
        raise ReconError("There is no plan to hold this build against; load one.")
    found, ids = audit_frame(frame, plan), {m.id for m in frame.members}

    def row(d: Any) -> dict[str, Any]:
        return {
            "text": d.full_text,
            "severity": d.severity,
            "kind": d.kind,
            "members": [id for id in (found.names.get(m, m) for m in d.members) if id in ids],
        }

    drawn = {id for d in found.differences if d.kind in DRAWN for id in d.members}
    return {
        "verdict": found.verdict,
        "differences": list(map(row, found.differences)),
        "not_checked": list(map(row, found.not_checked)),
        "said": list(map(row, found.said)),
        "shapes": _outlines(frame, plan, drawn),
    }


def _outlines(frame: Frame, plan: Frame, ids: Collection[str]) -> dict[str, list[Any]]:
    """For every photo the edges of these members of the plan, laid on the build."""
    there = align(plan, frame)
    if there is None or not ids:
        return {}
    laid = transform(replace(plan, photos=()), there.turn, there.shift)
    members = tuple(m for m in laid.members if m.id in ids)
    found = on_photos.outlines(replace(frame, members=members, joints=()))
    return {photo: [outline["edges"] for outline in outlines.values()] for photo, outlines in found.items()}
