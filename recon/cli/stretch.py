"""`recon stretch`: a frame longer or shorter across a plane, by whole holes."""

import argparse
import re
from typing import TYPE_CHECKING

from recon.cli.common import (
    EXIT_CODES,
    Subparsers,
    add_frame,
    add_json,
    add_overwrite,
    add_stocks,
    print_result,
    with_json_errors,
)

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.workshop.stretch import Plane

_DESCRIPTION = """\
Make a frame longer or shorter: choose a plane across it, between two holes.  Members that cross it grow or
shrink by so many holes, what lies beyond it moves, and every lap stays as it is; fittings follow.  Refused
where that cannot be, with what is in the way.  With -o the frame in its new size is written as a frame file.
"""
_EPILOG = f"""\
examples:
  recon stretch trestle/frame.json --axis right --at "A 5" --by 4 -o trestle/longer.json
  recon stretch cart.json --axis up --at 7.5 --by -2

{EXIT_CODES}
"""
_SIDES = ("right", "left", "back", "front", "up", "down")
_AXES = {"x": 0, "y": 1, "z": 2}
_SPOT = re.compile(r"\s*(?:(\S+)\s+(\d+)|(?:hole\s+)?(\d+)\s+of\s+(\S+))\s*", re.IGNORECASE)


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon stretch` to the commands."""
    parser = subparsers.add_parser(
        "stretch",
        help="make a frame longer or shorter by whole holes",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_frame(parser)
    add = parser.add_argument
    add(
        "--axis",
        metavar="SIDE",
        required=True,
        help="along which axis, by the side that moves: right, left, back, front, up or down where z is up, "
        "as the drawings have them, or x, -x, y, -y, z or -z",
    )
    add(
        "--at",
        metavar="PLACE",
        required=True,
        help="where the plane is: 'A 5' for half-way between hole 5 and 6 of member A, or the place along x, "
        "y or z in pitches of the frame file",
    )
    add("--by", metavar="HOLES", type=int, required=True, help="how many holes longer; shorter below 0")
    add("-o", "--out", metavar="FILE", help="frame file to write")
    add_stocks(parser)
    add_json(parser)
    add_overwrite(parser)
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Run `recon stretch`; returns its exit code."""
    from recon.frame.caution import CAUTION
    from recon.frame.files import frame_to_dict, load_frame, save_frame
    from recon.frame.stock import load_stocks
    from recon.workshop.formats import wrapped
    from recon.workshop.stretch import stretch, stretched_words

    frame = load_frame(args.frame, load_stocks(args.stocks))
    plane = _plane(frame, args)
    done = stretch(frame, plane, args.by)
    files: list[str] = []
    if args.out:
        save_frame(done.frame, args.out, args.overwrite)
        files = [args.out]
    grown = [(id, frame.member(id).holes, done.frame.member(id).holes) for id in done.grown]
    lines = [
        f"{stretched_words(done, plane, args.by)}:",
        *(f"  {id}: {before} -> {after} holes" for id, before, after in grown),
        *([f"  moved: {', '.join(done.moved)}"] if done.moved else []),
        "",
        wrapped(CAUTION),
    ]
    data = {
        "frame": frame_to_dict(done.frame),
        "grown": [{"member": id, "holes_before": before, "holes": after} for id, before, after in grown],
        "moved": list(done.moved),
        "caution": CAUTION,
    }
    print_result(args, data, "\n".join(lines) + "\n", files)
    return 0


def _plane(frame: "Frame", args: argparse.Namespace) -> "Plane":
    import numpy as np

    from recon.errors import ReconError
    from recon.frame.model import as_tuple
    from recon.workshop.side_axes import side_axes, to_the_right
    from recon.workshop.stretch import Plane, plane_after

    name = args.axis.lower()
    sign = -1.0 if name.startswith("-") else 1.0
    if name.lstrip("+-") in _AXES:
        way = sign * np.eye(3)[_AXES[name.lstrip("+-")]]
    elif name in _SIDES:
        way = side_axes(to_the_right(frame.members))[name]
    else:
        raise ReconError(f"'{args.axis}' is no side; --axis is {', '.join(_SIDES)}, x, -x, y, -y, z or -z.")
    spot = _SPOT.fullmatch(args.at)
    if spot is None:
        try:
            at = float(args.at)
        except ValueError:
            at = float("nan")
        if not np.isfinite(at):
            raise ReconError(
                f"'{args.at}' is no place; --at is a member and the hole before the plane, such as 'A 5', or "
                "a number of pitches."
            )
        return Plane(as_tuple(way), at * float(way.sum()))
    id, hole = spot[1] or spot[4], int(spot[2] or spot[3]) - 1
    try:
        member = frame.member(id)
    except KeyError:
        raise ReconError(f"--at: there is no member '{id}' in the frame.") from None
    if abs(float(np.dot(member.direction, way))) < 0.999:
        raise ReconError(f"--at: {id} does not run towards {args.axis}; name a member that does.")
    return plane_after(member, hole, int(float(np.dot(member.direction, way)) > 0))
