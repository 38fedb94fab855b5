"""All that can be found wrong with a frame before it is built, and the report about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.model import Frame, Joint
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bracing import MOST, Addition, additions, with_additions
from recon.workshop.rigidity.findings import (
    Finding,
    find_collisions,
    find_crossing,
    find_ends_without_room,
    find_laps_without_bolt,
    find_loose,
    find_open_loops,
    find_out_of_square,
    find_pieces,
    find_standing_on_bolts,
)
from recon.workshop.rigidity.fitting_findings import find_wrong_fittings
from recon.workshop.rigidity.mechanism import Mobility, mobility
from recon.workshop.rigidity.motion_words import motion_words
from recon.workshop.rigidity.moved_members import moved_and_braced
from recon.workshop.rigidity.play import LeftOver, left_over_words, most_left_over
from recon.workshop.side_axes import to_the_right
from recon.workshop.solids import BOLT_PER_HOLE, HOLE
from recon.workshop.wording import listed, plural

# Frames of more members than MANY get only FEW proposals, as each is looked for in the whole frame.
MANY, FEW = 100, 2
# Members up to which each is tried a hole further on, which takes its time: this project's choice.
MOVED = 24
FOLLOWED = 4  # ways to move that are followed with their play at most, as each takes its time
MOST_NAMED = 12  # members that an error lists
TITLES = {  # of the kinds of findings, in the order of the report
    "collision": "Members in one another's room",
    "loose": "Loose members",
    "pieces": "Parts that nothing joins",
    "loop": "Hole numbers that do not agree",
    "no bolt": "Laps without a bolt",
    "bolts cross": "Bolts that cross",
    "bolt end": "Bolts without room",
    "stands": "What it would stand on",
    "fitting": "Fittings",
    "squareness": "Out of square, as measured in the photos",
    "motion": "Ways to move that are not wanted",
}


@dataclass(frozen=True)
class CheckReport:
    """What is wrong with a frame.

    Attributes
    ----------
    findings : tuple of Finding
        All that is wrong, kind by kind.
    mobility : Mobility
        The ways to move.
    additions : tuple of Addition
        What to add against those that are not wanted.
    left_over : LeftOver or None
        How far the frame with all of these still gives, as its bolts have play; None where some way to move
        is left, or there was none.
    pitch_mm : float or None
        The frame's, for lengths in words.
    better : tuple of str
        Where what is proposed is loose: which member to move by a hole so that a brace fits; sentences.
    """

    findings: tuple[Finding, ...]
    mobility: Mobility
    additions: tuple[Addition, ...]
    left_over: LeftOver | None = None
    pitch_mm: float | None = None
    better: tuple[str, ...] = ()


def check_frame(
    frame: Frame,
    may_turn: Iterable[Joint] = (),
    hole: float = HOLE,
    z_up: bool = True,
    play: float | None = None,
) -> CheckReport:
    """Everything wrong that can be found from the frame alone.

    Parameters
    ----------
    frame : Frame
        The frame.
    may_turn : iterable of Joint
        Joints whose bolts may turn: motions in which no other bolt turns are wanted (see `joints_between`).
    hole : float
        Diameter of the holes, pitches.
    z_up : bool
        Whether +z may be called "up", and the frame stands on its lowest point.
    play : float, optional
        Clearance of a lap, pitches (see `recon.workshop.rigidity.play.clearance`); as bolts usually have it
        in such holes where it is left out.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -0.75, 3), (1, 0, 0), 6)
    >>> for finding in check_frame(Frame(members, find_joints(members))).findings:
    ...     print(finding.kind, "-", finding.text)
    collision - A and B take the same room, 0.25 pitches deep.
    loose - A touches B, but no holes lie on one axis there, so no bolt can hold it.
    loose - B touches A, but no holes lie on one axis there, so no bolt can hold it.
    """
    may_turn = tuple(may_turn)
    bolts = find_bolts(frame)
    state = mobility(frame, may_turn)
    right = to_the_right(frame.members) if frame.members else None
    sides = right if z_up else None
    findings = [
        *find_collisions(frame),
        *find_loose(frame),
        *find_pieces(frame),
        *find_open_loops(frame, sides),
        *find_laps_without_bolt(frame, bolts),
        *find_crossing(bolts),
        *find_ends_without_room(frame, bolts, hole),
        *(find_standing_on_bolts(frame, bolts, hole) if z_up else ()),
        *find_wrong_fittings(frame, bolts, hole),
        *find_out_of_square(frame, sides),
    ]
    findings += [Finding("motion", m.moving, m.joints, motion_words(m, z_up, right)) for m in state.motions]
    most = MOST if len(frame.members) <= MANY else FEW
    play = (1 - BOLT_PER_HOLE) * hole if play is None else play
    proposed = additions(frame, may_turn, most, hole, state, z_up, play)
    left = _left_over(frame, state, proposed, play)
    better: tuple[str, ...] = ()
    if any(a.loose for a in proposed) and len(frame.members) <= MOVED:
        better = moved_and_braced(frame, may_turn, state, hole, z_up, play)
    return CheckReport(tuple(findings), state, proposed, left, frame.pitch_mm, better)


def _left_over(frame: Frame, state: Mobility, proposed: Sequence[Addition], play: float) -> LeftOver | None:
    """How far the frame with all that is proposed gives, where no way to move is left then."""
    if not proposed or proposed[-1].left:
        return None
    whole = most_left_over(with_additions(frame, proposed), state.motions[:FOLLOWED], play)
    own = [a.gives for a in proposed if a.gives]
    return whole and max([whole, *own], key=lambda left: left.angle)


def joints_between(frame: Frame, pairs: Iterable[tuple[str, str]]) -> tuple[Joint, ...]:
    """The bolted laps of these pairs of members.

    Parameters
    ----------
    frame : Frame
        The frame.
    pairs : iterable of (str, str)
        Labels of two members each.

    Raises
    ------
    ReconError
        Where a label is unknown, or no bolt joins the two.
    """
    known = {m.id for m in frame.members}
    found: list[Joint] = []
    for a, b in pairs:
        for id in (a, b):
            if id not in known:
                others = " and others" if len(known) > MOST_NAMED else ""
                raise ReconError(
                    f"There is no member '{id}' in the frame; its members are "
                    f"{listed(sorted(known)[:MOST_NAMED])}{others}."
                )
        laps = [j for j in frame.joints if {j.a, j.b} == {a, b} and j.bolt != "none"]
        if not laps:
            raise ReconError(f"No bolt joins {a} and {b}; name two members that a bolt joins.")
        found += laps
    return tuple(found)


def report_text(report: CheckReport) -> str:
    """The report for a person to read, without the caution."""
    parts = []
    for kind, title in TITLES.items():
        texts = [f.text for f in report.findings if f.kind == kind]
        if texts:
            marks = [f"{n}." if kind == "motion" else "-" for n in range(1, len(texts) + 1)]
            parts.append("\n".join([title, *(f"  {mark} {text}" for mark, text in zip(marks, texts))]))
    state = report.mobility
    if state.motions:
        parts.append("\n".join(addition_lines(report)))
    wanted = ""
    if state.wanted:
        wanted = f"{plural(state.wanted, 'way')} to move {'is' if state.wanted == 1 else 'are'} wanted"
    and_wanted = f"; {wanted}" if wanted else ""
    if not report.findings:
        parts.append(f"Nothing is wrong with members and bolts, and nothing racks or folds{and_wanted}.")
    elif not state.motions:
        parts.append(f"Nothing racks or folds{and_wanted}.")
    elif wanted:
        parts.append(f"{wanted}.")
    return "\n\n".join(parts)


def addition_lines(report: CheckReport) -> list[str]:
    """What to add, a line each, below a line that says so."""
    if not report.additions:
        return ["What to add", "  Nothing that fits the free holes stops any of these."]
    lines = [f"  {n}. {a.text} {addition_effect(a, report)}" for n, a in enumerate(report.additions, 1)]
    return ["What to add, one after the other", *lines, *(f"  Better: {text}" for text in report.better)]


def addition_effect(addition: Addition, report: CheckReport) -> str:
    """What an addition leaves: play in its holes, and ways to move; sentences."""
    said = []
    if addition.gives is not None:
        words = left_over_words(addition.gives, report.pitch_mm)
        loose = ": it hardly holds, and no longer one fits" if addition.loose else ""
        said.append(f"The play of its bolts leaves {words}{loose}.")
    if addition.left:
        ways = plural(addition.left, "way")
        said.append(f"Then {ways} to move {'is' if addition.left == 1 else 'are'} left.")
    elif report.left_over:
        words = left_over_words(report.left_over, report.pitch_mm)
        said.append(f"Then nothing racks any more but for the play of all bolts: at most {words}.")
    else:
        said.append("Then nothing racks any more.")
    return " ".join(said)
