"""A built frame against its plan: what differs, in words to act on, and what could not be seen."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from recon.frame.boxes import face_centres, face_normals, hidden, openings
from recon.frame.confidence import SURE
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import Frame, Joint, Member
from recon.workshop.audit.fittings import compare_fittings
from recon.workshop.audit.matching import Extra, Match, Matching, Missing, Pair, alike, best_matching
from recon.workshop.audit.remedies import MIRROR_REMEDY, Remedies
from recon.workshop.audit.sentences import AuditSentences
from recon.workshop.hardware.bolts import lap_centre
from recon.workshop.side_axes import to_the_right
from recon.workshop.sides import Sides
from recon.workshop.squareness import squareness

TAKE_OUT = "Take it out."
OPENINGS = 3  # of a missing member that a photo must have in sight before it counts as missing
TITLES = {  # of the verdicts
    "same": "Built as planned: every member, length and bolt was seen, and nothing differs.",
    "same, as said": "Built as planned: nothing differs, and what no photo shows a person has said.",
    "different": "Not as planned.",
    "cannot say": "Cannot say: nothing differs for certain, but not everything was seen.",
}


@dataclass(frozen=True)
class Difference:
    """One thing that differs, or that could not be checked.

    Attributes
    ----------
    kind : str
        "mirrored", "exchanged", "length", "shift", "both", "moved", "missing", "extra", "bolt missing",
        "bolt extra", "width", "stock", "pitch", "fitting"; of what was not checked: "end", "bolt", "reading",
        "out of sight", "fitting"; of what a person says: "bolt"; measured in photos: "squareness".
    members : tuple of str
        Ids of the plan; of an extra member the built frame's.
    text : str
        A sentence.
    severity : str
        "different", "doubtful" (the reading is not sure), "not checked", or "said" (as planned by a person's
        word, in no photo), or "measured".
    remedy : str
        What to do about it, sentences in the plan's labels; empty where nothing can be done.
    fittings : tuple of str
        Ids of the plan's fittings that it is about; of one that is not in the plan the built frame's.
    """

    kind: str
    members: tuple[str, ...]
    text: str
    severity: str = "different"
    remedy: str = ""
    fittings: tuple[str, ...] = ()

    @property
    def full_text(self) -> str:
        """What it is, and what to do about it."""
        return f"{self.text} {self.remedy}".strip()


@dataclass(frozen=True)
class Audit:
    """What an audit finds.

    Attributes
    ----------
    verdict : str
        "same" (all was seen or said by a person, and nothing differs), "different", or "cannot say" (nothing
        differs for certain, but not all was seen or said).
    differences, not_checked : tuple of Difference
        In the plan's order.
    names : dict of str to str
        Plan id -> built id.
    mirrored : bool
        Whether the plan's mirror image was built.
    said : tuple of Difference
        What is as planned by a person's word alone: no photo shows it.
    squareness : tuple of Difference
        How far it is racked and its members off their places, where that is more than the photos' error: it
        makes no verdict.
    laid : Frame or None
        The built frame as it lies on the plan, mirrored where `mirrored`.
    fitting_names : dict of str to str
        Plan id -> built id of fittings.
    """

    verdict: str
    differences: tuple[Difference, ...]
    not_checked: tuple[Difference, ...]
    names: dict[str, str]
    mirrored: bool
    said: tuple[Difference, ...] = ()
    squareness: tuple[Difference, ...] = ()
    laid: Frame | None = None
    fitting_names: dict[str, str] = field(default_factory=dict)


def audit_frame(built: Frame, plan: Frame, z_up: bool = True) -> Audit:
    """What of `built` is not as in `plan`.

    What was out of sight (ends "hidden" or "cut", bolts "assumed", members of which a photo shows too little)
    counts as not checked.  A difference that may come from the reading is doubtful and makes no verdict.

    Parameters
    ----------
    built, plan : Frame
        Either may stand any way round, start anywhere and have any labels.
    z_up : bool
        Whether the plan's z points up, so that "low" and "high" can be said; else axes are named.

    Examples
    --------
    >>> plan = Frame((Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)))
    >>> built = Frame((Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 5)))
    >>> (difference,) = audit_frame(built, plan).differences
    >>> print(difference.text)
    Member B: 5 holes, plan 6; the end at hole 6, the right one, is 1 hole too short.
    >>> print(difference.remedy)
    Put one of 6 holes in place of B: 1 hole longer at its hole 6.
    """
    matching = best_matching(built, plan)
    sentences, todo = AuditSentences(matching, plan, z_up), Remedies(matching, plan, z_up)
    found = [*_sizes(built, plan), *_mirror(matching)]
    found += [_group(matching, group, sentences, todo) for group in matching.together]
    found += [_exchange(matching, ids, sentences, todo) for ids in matching.exchanged]
    grouped = matching.grouped
    for match in matching.matches:
        if isinstance(match, Extra) or match.plan.id not in grouped:
            found += _member(match, matching.built, sentences, todo)
        if isinstance(match, Pair):
            found += _width(match, sentences) if match.plan.id not in grouped else ()
            found += _unseen(match, sentences)
    found += _bolts(matching, plan, sentences, todo)
    fittings, fitting_names = compare_fittings(matching, plan, Sides(plan.members, z_up))
    found += [Difference("fitting", f.members, f.text, f.severity, f.remedy, f.fittings) for f in fittings]
    differences = tuple(d for d in found if d.severity in ("different", "doubtful"))
    not_checked, said = (tuple(d for d in found if d.severity == s) for s in ("not checked", "said"))
    certain = any(d.severity == "different" for d in differences)
    verdict = "different" if certain else "cannot say" if differences or not_checked else "same"
    names = {pair.plan.id: pair.built.id for pair in matching.pairs}
    right = to_the_right(plan.members) if z_up and plan.members else None
    measured = squareness(matching.built, {built: plan for plan, built in names.items()}, right)
    square = tuple(Difference("squareness", s.members, s.text, "measured") for s in measured)
    laid = matching.built
    return Audit(
        verdict, differences, not_checked, names, matching.mirrored, said, square, laid, fitting_names
    )


def _sizes(built: Frame, plan: Frame) -> Iterator[Difference]:
    sure = built.stock is None or built.stock.confidence >= SURE
    severity = "different" if sure else "doubtful"
    if built.pitch_mm and plan.pitch_mm and abs(built.pitch_mm / plan.pitch_mm - 1) > 0.005:
        text = f"The pitch is {built.pitch_mm:.4g} mm, plan {plan.pitch_mm:.4g} mm."
        yield Difference("pitch", (), text, severity)
    if built.stock and plan.stock and built.stock.id and plan.stock.id and built.stock.id != plan.stock.id:
        yield Difference("stock", (), f"The stock is {built.stock.id}, plan {plan.stock.id}.", severity)


def _mirror(matching: Matching) -> Iterator[Difference]:
    if matching.mirrored:
        same = all(m.kind == "same" for m in matching.matches)
        rest = "." if same else "; what follows is against the mirrored plan."
        text = f"The frame is built as the mirror image of the plan{rest}"
        yield Difference("mirrored", (), text, remedy=MIRROR_REMEDY)


def _severity(match: Pair | Extra) -> str:
    return "doubtful" if match.built.confidence < SURE else "different"


def _group(
    matching: Matching, group: Collection[str], sentences: AuditSentences, todo: Remedies
) -> Difference:
    """Members that were moved together."""
    pairs = [pair for pair in matching.pairs if pair.plan.id in group]
    severity = "doubtful" if all(_severity(pair) == "doubtful" for pair in pairs) else "different"
    kind = "shift" if alike(pairs) else "moved"
    return Difference(kind, tuple(group), sentences.group(pairs), severity, todo.group(pairs))


def _exchange(
    matching: Matching, ids: tuple[str, str], sentences: AuditSentences, todo: Remedies
) -> Difference:
    """Two members that were exchanged."""
    one, other = (next(pair for pair in matching.pairs if pair.plan.id == id) for id in ids)
    severity = "doubtful" if "doubtful" in (_severity(one), _severity(other)) else "different"
    text = sentences.exchanged(one, other)
    return Difference("exchanged", ids, text, severity, todo.exchange(one, other))


def _member(match: Match, built: Frame, sentences: AuditSentences, todo: Remedies) -> Iterator[Difference]:
    """A member that is missing, extra, or not where or as long as planned."""
    if isinstance(match, Missing):
        ids = (match.plan.id,)
        if built.photos and not _in_sight(match.plan, built):
            yield Difference("out of sight", ids, sentences.out_of_sight(match), "not checked")
        else:
            yield Difference("missing", ids, sentences.missing(match), remedy=todo.missing(match))
    elif isinstance(match, Extra):
        ids, text = (match.built.id,), sentences.extra(match)
        yield Difference("extra", ids, text, _severity(match), todo.extra(match))
    elif _may_be_longer(match):
        yield Difference("end", (match.plan.id,), sentences.may_be_longer(match), "not checked")
    elif match.kind != "same":
        ids, text = (match.plan.id,), sentences.member(match)
        yield Difference(match.kind, ids, text, _severity(match), todo.member(match))


def _width(pair: Pair, sentences: AuditSentences) -> Iterator[Difference]:
    if abs(pair.plan.width - pair.built.width) > MATCH_TOL:
        yield Difference("width", (pair.plan.id,), sentences.width(pair), _severity(pair))


def _may_be_longer(pair: Pair) -> bool:
    """Whether a member is too short by holes that may be out of sight."""
    short = pair.plan.holes - pair.built.holes
    at_start = np.abs(pair.start).max() > MATCH_TOL
    end = pair.built.ends[0 if at_start else 1]
    return pair.kind == "length" and short > 0 and end.state != "seen" and end.extra >= short


def _unseen(pair: Pair, sentences: AuditSentences) -> Iterator[Difference]:
    """What was not seen of a member that is there."""
    if pair.built.confidence < SURE and pair.kind == "same":
        yield Difference("reading", (pair.plan.id,), sentences.unsure(pair), "not checked")
    if pair.kind == "moved" or _may_be_longer(pair):
        return
    for which, end in enumerate(pair.built.ends):
        if end.state != "seen":
            yield Difference("end", (pair.plan.id,), sentences.end(pair, which, end), "not checked")


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


def _bolts(
    matching: Matching, plan: Frame, sentences: AuditSentences, todo: Remedies
) -> Iterator[Difference]:
    """Bolts of the plan that are not there or were not seen, and bolts that are not in the plan."""
    pairs = {pair.plan.id: pair for pair in matching.pairs}
    plan_of = {pair.built.id: pair.plan.id for pair in matching.pairs}
    built: dict[frozenset[str], list[Joint]] = {}
    for j in matching.built.joints:
        if j.a in plan_of and j.b in plan_of:
            built.setdefault(frozenset((plan_of[j.a], plan_of[j.b])), []).append(j)
    used: set[Joint] = set()
    for joint in plan.joints:
        if joint.a not in pairs or joint.b not in pairs:
            continue
        ends = (pairs[joint.a], pairs[joint.b])
        there = built.get(frozenset((joint.a, joint.b)), [])
        if all(pair.stays for pair in ends):
            there = [j for j in there if _same_place(j, joint, matching.built, plan)]
        used |= set(there)
        yield from _planned_bolt(joint, ends, there, sentences, todo)
    planned = {frozenset((j.a, j.b)) for j in plan.joints}
    for ids, joints in built.items():
        both = [pairs[id] for id in ids]
        comparable = all(pair.stays if ids in planned else pair.kind == "same" for pair in both)
        for j in joints:
            if j.bolt in ("seen", "said") and j not in used and comparable:
                text = sentences.bolt_not_planned(j, plan_of)
                yield Difference("bolt extra", tuple(sorted(ids)), text, remedy=TAKE_OUT)


def _planned_bolt(
    joint: Joint,
    ends: tuple[Pair, Pair],
    there: Sequence[Joint],
    sentences: AuditSentences,
    todo: Remedies,
) -> Iterator[Difference]:
    """A lap of the plan between two members that were built, and the built laps in its place."""
    ids, states = (joint.a, joint.b), {j.bolt for j in there}
    stays = all(pair.stays for pair in ends)
    if joint.bolt == "none":
        if stays and states & {"seen", "said"}:
            text = sentences.bolt_extra(joint, "seen" in states)
            yield Difference("bolt extra", ids, text, remedy=TAKE_OUT)
    elif "seen" in states:
        return
    elif "said" in states:
        yield Difference("bolt", ids, sentences.bolt_said(joint), "said")
    elif "assumed" in states:
        yield Difference("bolt", ids, sentences.bolt_unseen(joint), "not checked")
    elif there or (stays and _both_reach(joint, ends)):
        doubtful = any(_severity(pair) == "doubtful" for pair in ends)
        severity = "doubtful" if doubtful else "different"
        said = any(j.bolt_by for j in there)
        text = sentences.bolt_missing(joint, said)
        yield Difference("bolt missing", ids, text, severity, todo.bolt_missing(joint))


def _same_place(own: Joint, planned: Joint, built: Frame, plan: Frame) -> bool:
    centres = [
        lap_centre(joint, {id: frame.member(id) for id in (joint.a, joint.b)})
        for joint, frame in ((own, built), (planned, plan))
    ]
    return bool(np.abs(centres[0] - centres[1]).max() < MATCH_TOL)


def _both_reach(joint: Joint, ends: tuple[Pair, Pair]) -> bool:
    """Whether both built members still have a hole where the planned bolt is.

    One that is shorter is a difference already.
    """
    for pair, hole in zip(ends, (joint.a_hole, joint.b_hole)):
        gap = np.abs(pair.built.hole_centres() - pair.plan.hole_centre(hole)).max(axis=1)
        if gap.min() > MATCH_TOL:
            return False
    return True


def audit_text(result: Audit) -> str:
    """The audit for a person to read, without the caution."""
    sections = (
        ("Different", [d for d in result.differences if d.severity == "different"]),
        (
            "Different as far as the reading goes, which is not sure",
            [d for d in result.differences if d.severity == "doubtful"],
        ),
        ("Not checked", result.not_checked),
        ("As planned by a person's word, in no photo", result.said),
        ("Out of square, as measured in the photos", result.squareness),
    )
    by_word = result.verdict == "same" and result.said
    parts = [TITLES["same, as said" if by_word else result.verdict]]
    for title, found in sections:
        if found:
            parts.append("\n".join([title, *(f"  - {d.full_text}" for d in found)]))
    return "\n\n".join(parts)
