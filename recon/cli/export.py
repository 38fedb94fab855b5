"""`recon export`: a frame in a file for other programs."""

import argparse
import json
import os
from functools import partial
from pathlib import Path

from recon.cli.builds import kept_in
from recon.cli.common import EXIT_CODES, Subparsers, add_stock, add_workshop_arguments, load, with_json_errors
from recon.errors import ReconError
from recon.workshop.drawing.paper import ANGLES
from recon.workshop.export.registry import KINDS, export, kind_of_file

_DESCRIPTION = "Write a frame into one file for other programs:\n\n" + "".join(
    f"  {kind:<9}{entry.help}\n" for kind, entry in KINDS.items()
)
_EPILOG = f"""\
examples:
  recon export trestle/frame.json -o trestle.dxf
  recon export trestle/frame.json -o trestle.glb --boxes
  recon export trestle/frame.json -o joints.csv --to joints
  recon export trestle/frame.json -o trestle.html

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "export",
        help="write a frame for other programs: DXF, glTF, STEP, SVG, CSV, HTML",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add_stock(parser)
    add = parser.add_argument
    add("-o", "--out", metavar="FILE", required=True, help="file to write")
    add("--to", choices=tuple(KINDS), help="what to write (default: by the ending of FILE; parts for .csv)")
    add(
        "--projection",
        choices=ANGLES,
        default="first",
        help="how the three views lie (default: first)",
    )
    add("--boxes", action="store_true", help="in glb and step: plain boxes in place of drilled members")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write the file; returns the exit code."""
    from recon.files import write_bytes_atomic

    to = args.to or _kind(args.out)
    if os.path.lexists(args.out) and not args.overwrite:
        raise ReconError(
            f"{args.out}: exists already and is left as it is; choose another name, or replace it with "
            "--overwrite."
        )
    frame, stocks, prices = load(args)
    kept = partial(kept_in, Path(args.frame).parent, frame)
    data = export(frame, stocks, to, angle=args.projection, drilled=not args.boxes, prices=prices, kept=kept)
    write_bytes_atomic(args.out, data)
    print(json.dumps({"to": to, "files": [args.out]}) if args.json else f"Written: {args.out}")
    return 0


def _kind(path: str) -> str:
    """What to write, by the ending of the file."""
    from recon.workshop.wording import listed

    kind = kind_of_file(path)
    if kind is None:
        endings = listed(dict.fromkeys(entry.suffix for entry in KINDS.values()), "or")
        raise ReconError(f"{path}: its ending does not say what to write; name it {endings}, or give --to.")
    return kind
