"""What the commands that use a frame file have in common: their arguments, and the folder that they write into."""

import argparse
import json
from pathlib import Path

from recon.errors import ReconError

EXIT_CODES = "exit codes: 0 done; 2 nothing done (a sentence says why); 3 a fault in recon itself; 130 stopped with Ctrl-C"


def add_frame(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("frame", metavar="FRAME", help="a frame file, as 'recon read' writes it or written by hand")
    add(
        "--stocks",
        metavar="FILE",
        help="a TOML file with stock of your own, beside the list that comes with recon",
    )
    add(
        "--prices",
        metavar="FILE",
        help="a price list, CSV or TOML, with the columns item, id, length, price, currency",
    )
    add("--json", action="store_true", help="print the result as JSON")
    add("--overwrite", action="store_true", help="replace earlier results of this command")


def add_stock(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--stock",
        metavar="ID",
        help="the frame's stock, where the file does not tell it; 'recon stocks' lists the ids",
    )


def add_rack(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add(
        "--rack",
        metavar="FILE",
        help="what you own, CSV or TOML, with the columns item, id, length, count, first_hole, drilled, trim; "
        "it is used first, longer members too where nothing is in the way",
    )
    add(
        "--keep-out",
        metavar="BOX",
        action="append",
        default=[],
        help="a box that longer members may not reach into, in pitches of the frame file: 'x,y,z x,y,z', its lowest and its "
        "highest corner; may be given more than once",
    )
    add("--no-floor", action="store_true", help="let longer members reach below the frame's lowest point")


def load(args):
    """(frame, stocks, prices or None) of the arguments."""
    from recon.frame.files import load_frame
    from recon.frame.stock import find_stock, load_stocks
    from recon.workshop.parts.prices import load_prices
    from recon.workshop.parts.substitute import with_stock

    stocks = load_stocks(args.stocks)
    prices = load_prices(args.prices, stocks) if args.prices else None
    frame = load_frame(args.frame, stocks)
    if hasattr(args, "keep_out") and args.stock:
        frame = with_stock(frame, find_stock(stocks, args.stock))
    return frame, stocks, prices


def load_rack(args, stocks):
    """(rack or None, boxes to keep out of) of the arguments."""
    from recon.workshop.parts.rack import load_rack

    return load_rack(args.rack, stocks) if args.rack else None, [_box(text) for text in args.keep_out]


def _box(text: str):
    try:
        low, high = ([float(x) for x in corner.split(",")] for corner in text.split())
        good = len(low) == len(high) == 3 and all(a < b for a, b in zip(low, high))
    except ValueError:
        good = False
    if not good:
        raise ReconError(
            f"--keep-out '{text}' is not a box; write its lowest and its highest corner in pitches, such as '0,0,-9 24,12,0'."
        )
    return low, high


def with_json_errors(run):
    """The command, with an error printed as JSON too where JSON was asked for."""

    def command(args) -> int:
        try:
            return run(args)
        except ReconError as error:
            if args.json:
                print(json.dumps({"error": str(error), "exit_code": error.exit_code}))
            raise

    return command


def write_results(args, results: dict[str, str]) -> list[str]:
    """Writes texts under their names into the folder of -o, all or none; gives their paths."""
    from recon.show.files import output_folder, write_text_atomic

    with output_folder(args.out, tuple(results), args.overwrite) as staging:
        for name, text in results.items():
            write_text_atomic(staging / name, text)
    return [str(Path(args.out) / name) for name in results]


def print_result(args, data: dict, text: str, files: list[str]) -> None:
    if args.json:
        print(json.dumps(data | {"files": files}))
        return
    print(text, end="")
    if files:
        print("\nWritten: " + ", ".join(files))
