"""A build compared with its plan, as the page shows it: what differs, where that is, and what would mend
it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from recon.corrections import on_photos
from recon.corrections.members import on_one_line, vector_of
from recon.corrections.state import joint_key
from recon.errors import ReconError
from recon.frame.fitting import Fitting, fitting_to_dict
from recon.frame.lattice import MATCH_TOL, alignments, transform
from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray
from recon.workshop.audit.differences import Audit, Difference, audit_frame
from recon.workshop.audit.fittings import TAKE_OFF

# Kinds of differences of which the plan's members are drawn on the photos.
DRAWN = ("mirrored", "length", "shift", "both", "moved", "missing")
PLACED = ("length", "shift", "both", "moved")  # mended by placing members as planned
ADDED = ("missing", "out of sight")  # mended by adding members

Row = dict[str, Any]


def compare_with_plan(frame: Frame, plan: Frame | None) -> Row:
    """What differs between a build and its plan.

    Returns
    -------
    dict
        `verdict`; `differences`, `not_checked` and `said`, each a list of {text, severity, kind, members of
        the build, planned: ids of the plan's members, fittings: ids of the build's, lap or None, mend:
        [{text, requests: edits}]}; `shapes`, for every photo the outlines of the plan's members that differ,
        by their ids in the plan; `laid`, those members as they lie in the build: {id: {first, direction,
        holes, width}}.

    Raises
    ------
    ReconError
        Where there is no plan.
    """
    if plan is None:
        raise ReconError("There is no plan to hold this build against; load one.")
    found = audit_frame(frame, plan)
    lying = _laid(frame, plan, found)
    laid = {m.id: m for m in lying.members}
    rows = _Rows(frame, found, lying)
    drawn = {id for d in (*found.differences, *found.not_checked) if d.kind in DRAWN for id in d.members}
    drawn |= {id for d in found.not_checked if d.kind in ADDED for id in d.members}
    return {
        "verdict": found.verdict,
        "differences": list(map(rows.row, found.differences)),
        "not_checked": list(map(rows.row, found.not_checked)),
        "said": list(map(rows.row, found.said)),
        "shapes": _outlines(frame, laid, drawn),
        "laid": {id: _place(laid[id]) | {"width": laid[id].width} for id in sorted(drawn & laid.keys())},
    }


def _laid(frame: Frame, plan: Frame, found: Audit) -> Frame:
    """The plan as it lies in the build: of the ways to lay it, the one in which most planned members lie on
    those that the audit has for them.  Empty where it was built as a mirror image or cannot be laid on it."""
    best = Frame(())
    if found.mirrored:
        return best
    built = {m.id: m for m in frame.members}
    bare = replace(plan, photos=())
    most = -1
    for way in alignments(bare, frame):
        lying = transform(bare, way.turn, way.shift)
        laid = {m.id: m for m in lying.members}
        agree = sum(on_one_line(laid[p], built[b]) for p, b in found.names.items() if b in built)
        if agree > most:
            best, most = lying, agree
    return best


def _place(member: Member) -> Row:
    return {
        "first": list(vector_of(np.asarray(member.first, float))),
        "direction": list(vector_of(np.asarray(member.direction, float))),
        "holes": member.holes,
    }


class _Rows:
    """Differences as rows of the page.

    Parameters
    ----------
    frame : Frame
        The build.
    found : Audit
    lying : Frame
        The plan as it lies in the build.
    """

    def __init__(self, frame: Frame, found: Audit, lying: Frame) -> None:
        self.members = {m.id: m for m in frame.members}
        self.frame, self.names, self.fitting_names = frame, found.names, found.fitting_names
        self.laid = {m.id: m for m in lying.members}
        self.fittings = {f.id: f for f in lying.fittings}

    def row(self, d: Difference) -> Row:
        """One difference."""
        members = [id for id in (self.names.get(m, m) for m in d.members) if id in self.members]
        lap = self._lap(members) if d.kind.startswith("bolt") else None
        return {
            "text": d.full_text,
            "severity": d.severity,
            "kind": d.kind,
            "members": members,
            "planned": [m for m in d.members if m in self.laid] if d.kind != "extra" else [],
            "fittings": self._fitting_ids(d),
            "lap": lap and list(joint_key(lap)),
            "mend": [] if d.severity == "said" else self._mend(d, members, lap),
        }

    def _fitting_ids(self, d: Difference) -> list[str]:
        """The build's fittings that it is about."""
        if d.remedy == TAKE_OFF:
            return list(d.fittings)
        return [self.fitting_names[id] for id in d.fittings if id in self.fitting_names]

    def _lap(self, members: Collection[str]) -> Joint | None:
        """The lap of two members, where they have one alone."""
        ids = set(members)
        laps = [j for j in self.frame.joints if {j.a, j.b} == ids]
        return laps[0] if len(laps) == 1 else None

    def _mend(self, d: Difference, members: list[str], lap: Joint | None) -> list[Row]:
        """What would mend it: {text, requests: edits one after another}."""
        if d.kind == "extra":
            return [_mend("Not there", {"op": "delete", "members": members})]
        if d.kind.startswith("bolt"):
            return self._mend_bolt(d, lap) if lap else []
        if d.kind == "fitting":
            return self._mend_fittings(d)
        wanted = {p: self.laid[p] for p in d.members if p in self.laid}
        if d.kind in ADDED and wanted:
            adds = [{"op": "add", **_place(m)} for m in wanted.values()]
            return [_mend("Add it as planned", *adds)]
        placings = [
            {"member": self.names[p], **_place(m)}
            for p, m in wanted.items()
            if self.names.get(p) in self.members
        ]
        place = {"op": "place", "members": placings}
        if d.kind in PLACED:
            return [_mend("As planned", place)] if placings else []
        if d.kind in ("end", "reading") and members:
            (right,) = [_mend("Correct as it is", {"op": "confirm", "member": members[0]})]
            planned = [_mend("As planned", place)] if self._differs(placings) else []
            return [right, *planned]
        return []

    def _mend_fittings(self, d: Difference) -> list[Row]:
        """Fittings put on as planned, or one that is not in the plan taken off."""
        if d.remedy == TAKE_OFF:
            return [_mend("Not there", {"op": "fitting_gone", "fitting": id}) for id in d.fittings]
        requests = [self._as_planned(self.fittings[id]) for id in d.fittings if id in self.fittings]
        known = [request for request in requests if request is not None]
        if not known or len(known) < len(d.fittings):
            return []
        return [_mend("As planned" if d.severity == "different" else "There, as planned", *known)]

    def _as_planned(self, f: Fitting) -> Row | None:
        """The edit that puts a fitting of the plan on; None where the build has no holes in its place."""
        holes: list[list[str | int]] = []
        first = self.members.get(self.names.get(f.holes[0][0], ""))
        for id, k in f.holes:
            member = self.members.get(self.names.get(id, ""))
            hole = None if member is None else hole_near(member, self.laid[id].hole_centre(k))
            if member is None or hole is None:
                return None
            holes.append([member.id, hole])
        if first is not None and np.dot(first.direction, self.laid[f.holes[0][0]].direction) < 0:
            f = f.counted_back()
        row = fitting_to_dict(f) | {"holes": holes, "face": list(f.face), "shift_mm": list(f.shift_mm)}
        del row["id"]
        return {"op": "fitting", "fitting": self.fitting_names.get(f.id), **row}

    def _differs(self, placings: Collection[Row]) -> bool:
        """Whether a member has other holes than planned."""
        return any(self.members[p["member"]].holes != p["holes"] for p in placings)

    @staticmethod
    def _mend_bolt(d: Difference, lap: Joint) -> list[Row]:
        there, none = (
            _mend(text, {"op": "lap", "lap": list(joint_key(lap)), "word": word})
            for text, word in (("Bolt there", "said"), ("No bolt", "none"))
        )
        return [there] if d.kind == "bolt missing" else [none] if d.kind == "bolt extra" else [there, none]


def hole_near(member: Member, place: FloatArray) -> int | None:
    """The hole of a member at a place, (3,), pitches; None where it has none there.

    >>> hole_near(Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 5), np.array([3.0, 0.0, 0.0]))
    3
    """
    k = round(float((place - np.asarray(member.first)) @ np.asarray(member.direction)))
    near = 0 <= k < member.holes and np.abs(member.hole_centre(k) - place).max() < MATCH_TOL
    return k if near else None


def _mend(text: str, *requests: Row) -> Row:
    return {"text": text, "requests": list(requests)}


def _outlines(frame: Frame, laid: Mapping[str, Member], ids: Collection[str]) -> dict[str, dict[str, Any]]:
    """For every photo the edges of these members of the plan, by their ids."""
    members = tuple(m for m in laid.values() if m.id in ids)
    if not members:
        return {}
    found = on_photos.outlines(replace(frame, members=members, joints=()))
    return {
        photo: {id: outline["edges"] for id, outline in outlines.items()} for photo, outlines in found.items()
    }
