"""`recon audit`: a built frame against its plan."""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from recon.cli.common import Subparsers, add_question_arguments, print_answer, with_json_errors
from recon.cli.console import Progress, say
from recon.errors import ReconError

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.frame.stock import Stock

_DESCRIPTION = """\
Compare a built frame with its plan and say what differs, in words to act on. Both are frame files from
anywhere: they may stand any way round and have any labels. What was out of sight in the photos (ends, bolts,
members) is listed as not checked.
"""
_EPILOG = """\
examples:
  recon audit built/frame.json plan.json
  recon audit plan.json --photos left.jpg front.jpg right.jpg

With --photos the frame is read from photos, and each planned member is looked for where it should be.

exit codes: 0 built as planned, all of it seen, or said by a person; 1 it differs; 4 cannot say (nothing
differs for certain, but not all was seen or said); 2 no answer (a sentence says why); 3 a fault in recon
itself; 130 stopped with Ctrl-C
"""
CODES = {"same": 0, "different": 1, "cannot say": 4}


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon audit` to the commands."""
    parser = subparsers.add_parser(
        "audit",
        help="compare a built frame with its plan",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "built",
        metavar="BUILT",
        nargs="?",
        help="the frame file of what was built, as 'recon read' writes it; left out with --photos",
    )
    parser.add_argument("plan", metavar="PLAN", help="the frame file of the plan")
    parser.add_argument(
        "--photos", metavar="PHOTO", nargs="+", help="photos of what was built, videos, or folders of them"
    )
    add_question_arguments(parser)
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Run `recon audit`; returns its exit code."""
    from dataclasses import asdict, replace

    from recon.frame.files import load_frame
    from recon.frame.usual_stock import load_stocks_of_user
    from recon.workshop.audit.differences import audit_frame, audit_text

    stocks = load_stocks_of_user(args.stocks)
    plan = load_frame(args.plan, stocks)
    if (args.built is None) == (args.photos is None):
        raise ReconError(
            "Give either the frame file of what was built, or its photos with --photos: "
            "recon audit BUILT PLAN, or recon audit PLAN --photos PHOTO ..."
        )
    built = load_frame(args.built, stocks) if args.built else _read(args.photos, plan, stocks)
    result = audit_frame(built, plan, not args.not_upright)
    data = asdict(replace(result, laid=None))
    del data["laid"]
    print_answer(args, data, audit_text(result))
    return CODES[result.verdict]


def _read(paths: "Sequence[str]", plan: "Frame", stocks: "Mapping[str, Stock]") -> "Frame":
    """What was built, read from photos with the plan as a prior; what could not be used is said on stderr."""
    from recon import solve
    from recon.cli.read_videos import with_pictures
    from recon.image.duplicates import drop_duplicates
    from recon.image.photos import find_photos, load_photos

    with TemporaryDirectory() as folder:
        found, no_videos = with_pictures(
            find_photos(paths, videos=True), Path(folder), None, Progress(0.0, 0.05)
        )
        loaded, broken = load_photos(found, progress=Progress(0.05, 0.1))
    photos, copies = drop_duplicates(loaded)
    for name, reason in [*no_videos, *broken, *((photo.name, reason) for photo, reason in copies)]:
        say(f"{name}: not used: {reason}")
    if not photos:
        raise ReconError(
            "None of the files could be read as a photo, so there is nothing to compare with the plan."
        )
    reading = solve.read(photos, stocks=stocks, plan=plan, progress=Progress(0.1, 1.0))
    for name, reason in reading.set_aside:
        say(f"{name}: set aside: {reason}")
    return reading.frame
