"""`recon restock`: other stock for some members of a frame, or for all."""

import argparse

from recon.cli.common import (
    EXIT_CODES,
    Subparsers,
    add_workshop_arguments,
    load,
    print_result,
    with_json_errors,
)

_DESCRIPTION = """\
Put other stock in place of what some members are made of, or all: what changes in weight, cost and bolts.
Refused where the frame would no longer fit. With -o the frame with its new stock is written as a frame file.
"""
_EPILOG = f"""\
examples:
  recon restock trestle/frame.json --stock aluminium-38
  recon restock trestle/frame.json --stock aluminium-38 --members A B F -o trestle/light.json

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon restock` to the commands."""
    parser = subparsers.add_parser(
        "restock",
        aliases=["swap"],  # its name in 0.2.0
        help="put other stock in place of some members, or of all",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add = parser.add_argument
    add("--stock", metavar="ID", required=True, help="the new stock; 'recon stocks' lists the ids")
    add("--members", metavar="LABEL", nargs="+", help="the members that it is for (default: all)")
    add("--bolts", choices=("metric", "inch"), help="which bolts; by the stock where it is left out")
    add("-o", "--out", metavar="FILE", help="frame file to write")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Run `recon restock`; returns its exit code."""
    from recon.frame.caution import CAUTION
    from recon.frame.files import frame_to_dict, save_frame
    from recon.workshop.formats import wrapped
    from recon.workshop.parts.parts_formats import parts_dict
    from recon.workshop.parts.substitute import substitute

    frame, stocks, prices = load(args)
    labels = [label for text in args.members or () for label in text.split(",") if label]
    done = substitute(frame, stocks, args.stock, labels or None, prices, args.bolts)
    files: list[str] = []
    if args.out:
        save_frame(done.frame, args.out, args.overwrite)
        files = [args.out]
    data = {
        "frame": frame_to_dict(done.frame),
        "changes": list(done.changes),
        "before": parts_dict(done.before),
        "after": parts_dict(done.after),
        "caution": CAUTION,
    }
    print_result(args, data, "\n".join(map(wrapped, (*done.changes, "", CAUTION))) + "\n", files)
    return 0
