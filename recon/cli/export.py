"""`recon export`: a frame in a file for other programs."""

import argparse
import json
import os
from pathlib import Path

from recon.cli.common import EXIT_CODES, Subparsers, add_stock, add_workshop_arguments, load, with_json_errors
from recon.errors import ReconError

_DESCRIPTION = """\
Write a frame into one file for other programs:

  dxf      front, top and side view at full size in mm; each view and each member on a layer of its own
  glb      solid members with their holes (binary glTF, in metres); --boxes: without holes
  svg      front, top and side view on a sheet
  parts    the parts list as CSV
  joints   the joint table as CSV, holes counted from 1
  members  the members with their places as CSV
  json     the frame file, checked and written anew
"""
_EPILOG = f"""\
examples:
  recon export trestle/frame.json -o trestle.dxf
  recon export trestle/frame.json -o trestle.glb --boxes
  recon export trestle/frame.json -o joints.csv --to joints

{EXIT_CODES}
"""
KINDS = ("dxf", "glb", "svg", "parts", "joints", "members", "json")


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "export",
        help="write a frame for other programs: DXF, glTF, SVG, CSV",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add_stock(parser)
    add = parser.add_argument
    add("-o", "--out", metavar="FILE", required=True, help="file to write")
    add("--to", choices=KINDS, help="what to write (default: by the ending of FILE; parts for .csv)")
    add(
        "--projection",
        choices=("first", "third"),
        default="first",
        help="how the three views lie (default: first)",
    )
    add("--boxes", action="store_true", help="in glb: plain boxes in place of drilled members")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write the file; returns the exit code."""
    from recon.files import write_bytes_atomic
    from recon.workshop.export.registry import export

    to = args.to or _kind(args.out)
    if os.path.lexists(args.out) and not args.overwrite:
        raise ReconError(
            f"{args.out}: exists already and is left as it is; choose another name, or replace it with "
            "--overwrite."
        )
    frame, stocks, prices = load(args)
    data = export(frame, stocks, to, angle=args.projection, drilled=not args.boxes, prices=prices)
    write_bytes_atomic(args.out, data)
    print(json.dumps({"to": to, "files": [args.out]}) if args.json else f"Written: {args.out}")
    return 0


def _kind(path: str) -> str:
    """What to write, by the ending of the file."""
    ending = Path(path).suffix.lower()
    if ending == ".csv":
        return "parts"
    if ending[1:] in KINDS:
        return ending[1:]
    raise ReconError(
        f"{path}: its ending does not say what to write; name it .dxf, .glb, .svg, .csv or .json, "
        "or give --to."
    )
