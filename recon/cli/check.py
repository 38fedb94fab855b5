"""`recon check`: what is wrong with a frame before it is built."""

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recon.cli.common import (
    Subparsers,
    add_frame,
    add_question_arguments,
    add_results_folder,
    laps_json,
    print_answer,
    with_json_errors,
)
from recon.errors import ReconError

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.workshop.rigidity.frame_check import CheckReport
    from recon.workshop.rigidity.mechanism import Motion
    from recon.workshop.rigidity.play import LeftOver

_DESCRIPTION = """\
Look for what is wrong with a frame: members that overlap or touch nothing, laps without a bolt, bolts that
cross or have no room, and ways in which the frame racks or folds, with what to add against each.

One bolt in a lap lets the two members turn; two bolts, or three round a three-way lap, do not. For a frame
that is meant to fold, name the pairs that turn with --may-turn: ways to move in which no other bolt turns are
wanted and left out.

Bolts have play in their holes: of what stops racking, that which leaves the frame least to give comes first,
with the angle that is left and how far the top still goes. Nothing is proposed below the frame's lowest
point.

With -o a picture of each way to move is written into a folder: moves-1.png, moves-2.png, ...
"""
_EPILOG = """\
examples:
  recon check trestle/frame.json
  recon check trestle/frame.json -o trestle/moves
  recon check stool/frame.json --may-turn A:B C:D

exit codes: 0 nothing is wrong; 1 something is (it is named); 2 no answer (a sentence says why); 3 a fault in
recon itself; 130 stopped with Ctrl-C
"""
MOST_PICTURES = 12  # this project's choice


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon check` to the commands."""
    parser = subparsers.add_parser(
        "check",
        help="look for what is wrong with a frame, and how it could rack",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_frame(parser)
    add_question_arguments(parser)
    parser.add_argument(
        "--may-turn",
        metavar="A:B",
        nargs="+",
        default=[],
        help="pairs of members that are meant to turn on their bolt",
    )
    add_results_folder(parser, f"pictures of the ways to move (the first {MOST_PICTURES})")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Run `recon check`; returns its exit code."""
    from recon.frame.files import load_frame
    from recon.frame.stock import load_stocks
    from recon.workshop.drawing.projections import drawn_hole
    from recon.workshop.rigidity.frame_check import check_frame, joints_between, report_text
    from recon.workshop.rigidity.play import clearance

    stocks = load_stocks(args.stocks)
    frame = load_frame(args.frame, stocks)
    hole = drawn_hole(frame, stocks)
    may_turn = joints_between(frame, map(_pair, args.may_turn))
    report = check_frame(frame, may_turn, hole, not args.not_upright, clearance(frame, stocks))
    files = _pictures(args, frame, report.mobility.motions, hole) if args.out else []
    print_answer(args, _data(report), report_text(report), files)
    return 1 if report.findings else 0


def _pair(text: str) -> tuple[str, str]:
    """The two labels of A:B."""
    a, colon, b = text.partition(":")
    if not (a and colon and b):
        raise ReconError(
            f"--may-turn '{text}' is no pair of members; write their labels with a colon between, "
            "such as A:B."
        )
    return a, b


def _data(report: "CheckReport") -> dict[str, Any]:
    """The report as JSON has it."""
    from recon.frame.files import frame_to_dict
    from recon.frame.model import Frame

    state = report.mobility
    return {
        "findings": [
            {
                "kind": f.kind,
                "members": list(f.members),
                "laps": laps_json(f.joints),
                "fittings": list(f.fittings),
                "text": f.text,
            }
            for f in report.findings
        ],
        "freedom": state.freedom,
        "wanted": state.wanted,
        "motions": [
            {
                "laps": laps_json(m.joints),
                "rates": list(m.rates),
                "groups": [list(g) for g in m.groups],
                "travel": m.travel,
            }
            for m in state.motions
        ],
        "additions": [
            {
                "text": a.text,
                "laps": laps_json(a.joints),
                "left": a.left,
                "gives": _left_over(a.gives, report),
                "member": a.member and frame_to_dict(Frame((a.member,)))["members"][0],
            }
            for a in report.additions
        ],
        "better": list(report.better),
        "left_over": _left_over(report.left_over, report),
    }


def _left_over(left: "LeftOver | None", report: "CheckReport") -> dict[str, Any] | None:
    """How far the frame still gives, as JSON has it."""
    if left is None:
        return None
    mm = left.travel * report.pitch_mm if report.pitch_mm else None
    return {"degrees": math.degrees(left.angle), "pitches": left.travel, "mm": mm, "member": left.member}


def _pictures(
    args: argparse.Namespace, frame: "Frame", motions: "Sequence[Motion]", hole: float
) -> list[str]:
    """Write a picture of each way to move, the first MOST_PICTURES; returns their paths."""
    from recon.files import output_folder, write_bytes_atomic
    from recon.show.motion import draw_motion
    from recon.show.picture import encode_png

    names = [f"moves-{n}.png" for n in range(1, MOST_PICTURES + 1)]
    drawn = min(len(motions), MOST_PICTURES)
    with output_folder(args.out, names, args.overwrite) as staging:
        for n, (name, motion) in enumerate(zip(names, motions), 1):
            write_bytes_atomic(
                staging / name, encode_png(draw_motion(frame, motion, f"Way {n} to move", hole=hole))
            )
    return [str(Path(args.out) / name) for name in names[:drawn]]
