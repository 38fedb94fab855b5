"""`recon cut`: how to cut the members of a frame from sticks."""

import argparse

from recon.cli.common import (
    EXIT_CODES,
    Subparsers,
    add_rack,
    add_stock,
    add_workshop_arguments,
    load,
    load_rack,
    overhang_holes,
    print_result,
    with_json_errors,
    write_results,
)

_DESCRIPTION = """\
Say how to cut the members of a frame from sticks, with the least length to buy, or the least cost where a
price list has prices of sticks; what a rack holds is used first. Sticks are drilled along their length, and
every cut falls midway between two holes; with --blank they are not drilled yet.

With -o the list is also written into a folder: cut.html (for the printer, with a picture of every stick),
cut.svg (the picture alone), cut.csv and cut.json.
"""
_EPILOG = f"""\
examples:
  recon cut trestle/frame.json
  recon cut trestle/frame.json --buy "8 ft" --buy "12 ft" --kerf "1/8 in" -o trestle/cut
  recon cut trestle/frame.json --rack rack.csv --prices prices.csv
  recon cut trestle/frame.json --blank --trim "20 mm"

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "cut",
        help="say how to cut the members from sticks",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add_stock(parser)
    add_rack(parser)
    add = parser.add_argument
    add(
        "--buy",
        metavar="LENGTH",
        action="append",
        default=[],
        help="a length of stick that can be bought; may be given more than once (default: those of the price "
        "list, else of the stock list)",
    )
    add("--kerf", metavar="LENGTH", help="what the saw takes (default: 3.2 mm)")
    add(
        "--blank",
        action="store_true",
        help="sticks to buy are not drilled yet: pieces are cut to length, then drilled",
    )
    add(
        "--first-hole",
        metavar="LENGTH",
        help="of sticks to buy: from the end to the centre of the first hole (default: half a pitch)",
    )
    add("--trim", metavar="LENGTH", help="of sticks to buy: what is no good at each end")
    add("-o", "--out", metavar="DIR", help="folder to write the list into as well")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write or print the list; returns the exit code."""
    import json

    from recon.errors import ReconError
    from recon.frame.length import parse_mm
    from recon.workshop.cutting.cut_formats import cut_csv, cut_dict, cut_html, cut_svg, cut_text
    from recon.workshop.cutting.cut_list import KERF_MM, cut_list
    from recon.workshop.parts.rack import use_rack

    if args.blank and args.first_hole:
        raise ReconError("--first-hole is for drilled sticks; leave it or --blank out.")
    frame, stocks, prices = load(args)
    rack, keep_out = load_rack(args, stocks)
    used = (
        use_rack(frame, rack, stocks, keep_out, not args.no_floor, overhang_holes(args, frame))
        if rack
        else None
    )
    cuts = cut_list(
        frame,
        stocks,
        rack=rack,
        used=used,
        prices=prices,
        drilled=not args.blank,
        kerf_mm=parse_mm(args.kerf) if args.kerf else KERF_MM,
        lengths_mm=[parse_mm(text) for text in args.buy],
        first_hole_mm=parse_mm(args.first_hole) if args.first_hole else None,
        trim_mm=parse_mm(args.trim) if args.trim else 0.0,
    )
    data = cut_dict(cuts)
    files = (
        write_results(
            args,
            {
                "cut.svg": cut_svg(cuts),
                "cut.csv": cut_csv(cuts),
                "cut.json": json.dumps(data, indent=1) + "\n",
                "cut.html": cut_html(cuts, frame.name),
            },
        )
        if args.out
        else []
    )
    print_result(args, data, cut_text(cuts, frame.name), files)
    return 0
