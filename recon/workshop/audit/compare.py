"""A built frame against its plan: what differs, in words to act on, and what could not be seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.frame.boxes import face_centres, face_normals, hidden, openings
from recon.frame.confidence import SURE
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import Frame, Joint, Member
from recon.workshop.audit.matching import Match, Pose, alike, best_pose
from recon.workshop.audit.sentences import Sayings

OPENINGS = 3  # of a missing member that a photo must have in sight before it counts as missing


@dataclass(frozen=True)
class Difference:
    """One thing that differs, or that could not be checked.

    kind : "mirrored", "length", "shift", "both", "moved", "missing", "extra", "bolt missing", "bolt extra", "width",
    "stock", "pitch"; of what was not checked: "end", "bolt", "reading", "out of sight".
    members : ids of the plan; of an extra member the built frame's.
    text : a sentence.   severity : "different", "doubtful" (the reading is not sure) or "not checked".
    """

    kind: str
    members: tuple[str, ...]
    text: str
    severity: str = "different"


@dataclass(frozen=True)
class Audit:
    """verdict : "same" (all was seen, and nothing differs), "different", or "cannot say" (nothing differs for certain,
    but not all was seen).   differences, not_checked : in the plan's order.
    names : plan id -> built id.   mirrored : whether the plan's mirror image was built."""

    verdict: str
    differences: tuple[Difference, ...]
    not_checked: tuple[Difference, ...]
    names: dict[str, str]
    mirrored: bool


def audit(built: Frame, plan: Frame, z_up: bool = True) -> Audit:
    """What of `built` is not as in `plan`.  Either may stand any way round, start anywhere and have any labels.

    z_up : whether the plan's z points up, so that "low" and "high" can be said; else axes are named.

    What was out of sight (ends "hidden" or "cut", bolts "assumed", members of which a photo shows too little) is told as
    not checked.  A difference that may come from the reading is doubtful and makes no verdict.
    """
    pose = best_pose(built, plan)
    say = Sayings(pose, plan, z_up)
    found = [*_sizes(built, plan), *_mirror(pose)]
    found += [d for group in pose.together for d in _group(pose, group, say)]
    grouped = {id for group in pose.together for id in group}
    for match in pose.matches:
        if match.plan is None or match.plan.id not in grouped:
            found += _member(match, pose, say)
        if match.built is not None and match.plan is not None:
            found += _seen(match, say)
    found += _bolts(pose, plan, say)
    differences = tuple(d for d in found if d.severity != "not checked")
    not_checked = tuple(d for d in found if d.severity == "not checked")
    certain = any(d.severity == "different" for d in differences)
    verdict = "different" if certain else "cannot say" if differences or not_checked else "same"
    return Audit(
        verdict,
        differences,
        not_checked,
        {m.plan.id: m.name for m in pose.matches if m.plan and m.built},
        pose.mirrored,
    )


def _sizes(built: Frame, plan: Frame):
    if built.pitch_mm and plan.pitch_mm and abs(built.pitch_mm / plan.pitch_mm - 1) > 0.005:
        yield Difference(
            "pitch",
            (),
            f"The pitch is {built.pitch_mm:.4g} mm, plan {plan.pitch_mm:.4g} mm.",
            _how_sure(built),
        )
    if built.stock and plan.stock and built.stock.id and plan.stock.id and built.stock.id != plan.stock.id:
        yield Difference(
            "stock", (), f"The stock is {built.stock.id}, plan {plan.stock.id}.", _how_sure(built)
        )


def _how_sure(built: Frame) -> str:
    return "doubtful" if built.stock and built.stock.confidence < SURE else "different"


def _mirror(pose: Pose):
    if pose.mirrored:
        yield Difference(
            "mirrored",
            (),
            "The frame is built as the mirror image of the plan"
            + (
                "."
                if all(m.kind == "same" for m in pose.matches)
                else "; what follows is against the mirrored plan."
            ),
        )


def _severity(match: Match) -> str:
    return "doubtful" if match.built is not None and match.built.confidence < SURE else "different"


def _group(pose: Pose, group, say: Sayings):
    matches = [m for m in pose.matches if m.plan and m.plan.id in group]
    severity = "doubtful" if all(_severity(m) == "doubtful" for m in matches) else "different"
    yield Difference("shift" if alike(matches) else "moved", tuple(group), say.group(matches), severity)


def _member(match: Match, pose: Pose, say: Sayings):
    if match.kind == "missing":
        if pose.built.photos and not _in_sight(match.plan, pose.built):
            yield Difference("out of sight", (match.plan.id,), say.out_of_sight(match), "not checked")
        else:
            yield Difference("missing", (match.plan.id,), say.missing(match))
    elif match.kind == "extra":
        yield Difference("extra", (match.name,), say.extra(match), _severity(match))
    elif match.kind == "length" and _may_be_hidden(match):
        yield Difference("end", (match.plan.id,), say.may_be_longer(match), "not checked")
    elif match.kind != "same":
        yield Difference(match.kind, (match.plan.id,), say.member(match), _severity(match))
    if match.plan and match.built and abs(match.plan.width - match.built.width) > MATCH_TOL:
        yield Difference("width", (match.plan.id,), say.width(match), _severity(match))


def _may_be_hidden(match: Match) -> bool:
    """Whether the holes that are missing may be out of sight."""
    short = match.plan.holes - match.built.holes
    at_start = np.abs(match.start).max() > MATCH_TOL
    end = match.built.ends[0 if at_start else 1]
    return short > 0 and end.state != "seen" and end.extra >= short


def _seen(match: Match, say: Sayings):
    """What was not seen of a member that is there."""
    if match.built.confidence < SURE and match.kind == "same":
        yield Difference("reading", (match.plan.id,), say.unsure(match), "not checked")
    if match.kind == "moved" or (match.kind == "length" and _may_be_hidden(match)):
        return
    for which, end in enumerate(match.built.ends):
        if end.state != "seen":
            yield Difference("end", (match.plan.id,), say.end(match, which, end), "not checked")


def _in_sight(member: Member, built: Frame) -> bool:
    """Whether a photo of the built frame would show some openings of a member that stood there."""
    for photo in built.photos:
        if not photo.used or photo.camera is None:
            continue
        eye = photo.camera.centre
        turned = np.einsum("ij,ij->i", face_normals(member), eye - face_centres(member))[2:] > 0
        points = openings(member)[turned].reshape(-1, 3)
        inside = photo.camera.in_picture(points, photo.size)
        if (inside & ~hidden(points, eye, built.members)).sum() >= min(OPENINGS, member.holes):
            return True
    return False


# Bolts


def _bolts(pose: Pose, plan: Frame, say: Sayings):
    """Bolts of the plan that are not there or were not seen, and bolts that the plan has not."""
    match_of = {m.plan.id: m for m in pose.matches if m.plan}
    plan_of = {m.name: m.plan.id for m in pose.matches if m.plan and m.built}
    built = {}
    for j in pose.built.joints:
        if j.a in plan_of and j.b in plan_of:
            built.setdefault(frozenset((plan_of[j.a], plan_of[j.b])), []).append(j)
    used = set()
    for joint in plan.joints:
        pair = frozenset((joint.a, joint.b))
        ends = [match_of[joint.a], match_of[joint.b]]
        if any(m.built is None for m in ends):
            continue
        still = all(m.kind in ("same", "length") for m in ends)
        there = [j for j in built.get(pair, ()) if not still or _same_place(j, joint, pose, plan)]
        used |= set(there)
        if joint.bolt == "none":
            if still and any(j.bolt == "seen" for j in there):
                yield Difference("bolt extra", (joint.a, joint.b), say.bolt_extra(joint))
        elif any(j.bolt == "seen" for j in there):
            continue
        elif any(j.bolt == "assumed" for j in there):
            yield Difference("bolt", (joint.a, joint.b), say.bolt_unseen(joint), "not checked")
        elif there or (still and _both_reach(joint, ends)):
            yield Difference(
                "bolt missing",
                (joint.a, joint.b),
                say.bolt_missing(joint),
                "doubtful" if any(_severity(m) == "doubtful" for m in ends) else "different",
            )
    planned = {frozenset((j.a, j.b)) for j in plan.joints}
    for pair, joints in built.items():
        ends = [match_of[id] for id in pair]
        for j in joints:
            if (
                j.bolt == "seen"
                and j not in used
                and all(m.kind in ("same", "length") for m in ends)
                and (pair in planned or all(m.kind == "same" for m in ends))
            ):
                yield Difference("bolt extra", tuple(sorted(pair)), say.bolt_not_planned(j, plan_of))


def _middle(frame: Frame, joint: Joint) -> np.ndarray:
    return (
        frame.member(joint.a).hole_centre(joint.a_hole) + frame.member(joint.b).hole_centre(joint.b_hole)
    ) / 2


def _same_place(own: Joint, planned: Joint, pose: Pose, plan: Frame) -> bool:
    off = _middle(pose.built, own) - _middle(plan, planned)
    return bool(np.abs(off).max() < MATCH_TOL)


def _both_reach(joint: Joint, ends) -> bool:
    """Whether both built members still have a hole where the planned bolt is; a shorter one is a difference already."""
    for match, hole in zip(ends, (joint.a_hole, joint.b_hole)):
        gap = np.abs(match.built.hole_centres() - match.plan.hole_centre(hole)).max(axis=1)
        if gap.min() > MATCH_TOL:
            return False
    return True


def audit_text(result: Audit) -> str:
    """The audit for a person to read, without the caution."""
    titles = {
        "same": "Built as planned: every member, length and bolt was seen, and nothing differs.",
        "different": "Not as planned.",
        "cannot say": "Cannot say: nothing differs for certain, but not everything was seen.",
    }
    parts = [titles[result.verdict]]
    for title, severity in (
        ("Different", "different"),
        ("Different as far as the reading goes, which is not sure", "doubtful"),
    ):
        texts = [d.text for d in result.differences if d.severity == severity]
        if texts:
            parts.append("\n".join([title, *(f"  - {t}" for t in texts)]))
    if result.not_checked:
        parts.append("\n".join(["Not checked", *(f"  - {d.text}" for d in result.not_checked)]))
    return "\n\n".join(parts)
