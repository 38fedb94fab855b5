"""`recon buildable`: what can be built from what is there."""

import argparse

from recon.cli.common import (
    EXIT_CODES,
    Subparsers,
    add_json,
    add_rack,
    add_stocks,
    load_rack,
    print_result,
    with_json_errors,
)

_DESCRIPTION = """\
Hold several frames against what you own, and rank them by what is missing: the length of members, then the
number of bolts, nuts and washers. A rack may be a frame file: a build that is to be taken apart.
"""
_EPILOG = f"""\
examples:
  recon buildable plans/*.json --rack rack.csv
  recon buildable bench.json shelf.json --rack old-trestle/frame.json --rack rack.csv

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "buildable",
        help="rank frames by what is missing from a rack to build them",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("frames", metavar="FRAME", nargs="+", help="frame files")
    add_stocks(parser)
    add_rack(parser)
    add_json(parser)
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Print the ranking; returns the exit code."""
    from dataclasses import replace
    from pathlib import Path

    from recon.cli.common import overhang_holes
    from recon.errors import ReconError
    from recon.frame.files import load_frame
    from recon.frame.stock import load_stocks
    from recon.workshop.parts.buildable import buildable_dict, buildable_text, what_is_missing

    if not args.rack:
        raise ReconError("Nothing to build from; give what you own with --rack.")
    stocks = load_stocks(args.stocks)
    rack, _ = load_rack(args, stocks)
    assert rack is not None
    found = []
    for path in args.frames:
        frame = load_frame(path, stocks)
        made = what_is_missing(frame, stocks, rack, overhang_holes(args, frame), not args.no_floor)
        found.append(replace(made, name=made.name or Path(path).stem))
    print_result(args, buildable_dict(found), buildable_text(found), [])
    return 0
