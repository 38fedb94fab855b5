"""`recon cut`: how to cut the members of a frame from sticks."""

import argparse

from recon.cli.common import (
    EXIT_CODES,
    Subparsers,
    add_rack,
    add_sticks,
    add_stock,
    add_workshop_arguments,
    load,
    load_rack,
    overhang_holes,
    print_result,
    stick_options,
    with_json_errors,
    write_results,
)

_DESCRIPTION = """\
Say how to cut the members of a frame from sticks, with the least length to buy, or the least cost where a
price list has prices of sticks; what a rack holds is used first. Sticks are drilled along their length, and
every cut falls midway between two holes; with --blank they are not drilled yet.

With -o the list is also written into a folder: cut.html (for the printer, with a picture of every stick),
cut.svg (the picture alone), cut.csv and cut.json; drill.csv where members are to be drilled. 'recon papers'
has a drilling jig at full size.
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
    add_sticks(parser)
    add("-o", "--out", metavar="DIR", help="folder to write the list into as well")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write or print the list; returns the exit code."""
    import json
    from dataclasses import asdict

    from recon.workshop.cutting.cut_formats import cut_csv, cut_dict, cut_html, cut_svg, cut_text
    from recon.workshop.cutting.cut_list import cut_list
    from recon.workshop.cutting.drilling import drill_csv, drill_list, drill_text, undrilled
    from recon.workshop.parts.rack import as_built, use_rack

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
        **stick_options(args),
    )
    data = cut_dict(cuts)
    drills = None
    if args.blank or args.drill:
        drills = drill_list(as_built(frame, used), stocks, args.drill == "used", only=undrilled(cuts))
        data["drilling"] = asdict(drills)
    files = (
        write_results(
            args,
            {
                "cut.svg": cut_svg(cuts),
                "cut.csv": cut_csv(cuts),
                "cut.json": json.dumps(data, indent=1) + "\n",
                "cut.html": cut_html(cuts, frame.name),
                **({"drill.csv": drill_csv(drills)} if drills else {}),
            },
        )
        if args.out
        else []
    )
    text = cut_text(cuts, frame.name) + (f"\n{drill_text(drills)}" if drills else "")
    print_result(args, data, text, files)
    return 0
