"""`recon parts`: the parts list of a frame."""

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
List the parts of a frame: members by stock and length, bolts by grip with nuts and washers, weight and what
is to be bought, with one total. Stock is bought by the stick, by the metre or cut to length, whichever costs
least.

With -o the list is also written into a folder: parts.html (for the printer), parts.csv, shopping.csv and
parts.json.
"""
_EPILOG = f"""\
examples:
  recon parts trestle/frame.json
  recon parts trestle/frame.json --rack rack.csv --prices prices.csv -o trestle/parts
  recon parts by-hand.json --stock softwood-38 --bolts metric

a rack and a price list (CSV; the same names in TOML, an [[entry]] each):
  item,id,length,count               item,id,length,price,currency
  member,softwood-38,16,4            metre,softwood-38,,4.20,EUR
  stick,softwood-38,8 ft,2           stick,softwood-38,2438,9.80,EUR
  bolt,M8 x 90,,20                   bolt,M8 x 90,,0.45,EUR

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "parts",
        help="list the parts of a frame",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add_stock(parser)
    add_rack(parser)
    add = parser.add_argument
    add("--lock-nuts", action="store_true", help="nuts with nylon insert: for what rolls or shakes")
    add("--bolts", choices=("metric", "inch"), help="which bolts; by the stock where it is left out")
    add(
        "--thread",
        metavar="THREAD",
        help="of all bolts, such as M8 or 5/16, in place of the largest that passes the holes",
    )
    add("-o", "--out", metavar="DIR", help="folder to write the list into as well")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write or print the list; returns the exit code."""
    import json

    from recon.workshop.hardware.threads import find_thread
    from recon.workshop.parts.parts_formats import parts_csv, parts_dict, parts_html, parts_text
    from recon.workshop.parts.parts_list import parts_list
    from recon.workshop.parts.shopping import shopping_csv, shopping_for

    frame, stocks, prices = load(args)
    rack, keep_out = load_rack(args, stocks)
    thread = find_thread(args.thread) if args.thread else None
    parts = parts_list(
        frame,
        stocks,
        prices,
        rack,
        system=args.bolts,
        thread=thread,
        keep_out=keep_out,
        floor=not args.no_floor,
        overhang=overhang_holes(args, frame),
        lock_nuts=args.lock_nuts,
    )
    shopping = shopping_for(frame, stocks, parts, prices, rack)
    data = parts_dict(parts, shopping)
    files = (
        write_results(
            args,
            {
                "parts.csv": parts_csv(parts, shopping),
                "parts.json": json.dumps(data, indent=1) + "\n",
                "parts.html": parts_html(parts, frame, shopping),
                "shopping.csv": shopping_csv(shopping),
            },
        )
        if args.out
        else []
    )
    print_result(args, data, parts_text(parts, frame, shopping), files)
    return 0
