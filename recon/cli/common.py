"""What commands share: arguments, loading what they name, results as text or JSON, errors as JSON."""

import argparse
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from recon.errors import ReconError

if TYPE_CHECKING:  # commands import what they need when they run, so that help comes at once
    from recon.frame.model import Frame, Joint
    from recon.frame.stock import Stock
    from recon.workshop.parts.prices import PriceList
    from recon.workshop.parts.rack import Rack

Subparsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
Command: TypeAlias = Callable[[argparse.Namespace], int]
Box: TypeAlias = tuple[list[float], list[float]]

EXIT_CODES = (
    "exit codes: 0 done; 2 nothing done (a sentence says why); 3 a fault in recon itself; "
    "130 stopped with Ctrl-C"
)

# Arguments


def add_frame(parser: argparse.ArgumentParser) -> None:
    """Add the positional argument FRAME."""
    parser.add_argument(
        "frame", metavar="FRAME", help="a frame file, as 'recon read' writes it or written by hand"
    )


def add_stocks(parser: argparse.ArgumentParser, note: str = "beside the list that comes with recon") -> None:
    """Add `--stocks FILE`; `note` ends the help."""
    parser.add_argument("--stocks", metavar="FILE", help=f"a TOML file with stock of your own, {note}")


def add_json(parser: argparse.ArgumentParser, note: str = "") -> None:
    """Add `--json`; `note` ends the help."""
    parser.add_argument("--json", action="store_true", help=f"print the result as JSON{note}")


def add_overwrite(parser: argparse.ArgumentParser) -> None:
    """Add `--overwrite`."""
    parser.add_argument("--overwrite", action="store_true", help="replace earlier results of this command")


def add_workshop_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what all commands take that make something of a frame: FRAME, stocks, prices, JSON, overwriting."""
    add_frame(parser)
    add_stocks(parser)
    parser.add_argument(
        "--prices",
        metavar="FILE",
        help="a price list, CSV or TOML, with the columns item, id, length, price, currency",
    )
    parser.add_argument(
        "--wood",
        metavar="SPECIES",
        help="the species, for the weight of all stock of wood, such as norway-spruce or douglas-fir",
    )
    add_json(parser)
    add_overwrite(parser)


def add_stock(parser: argparse.ArgumentParser) -> None:
    """Add `--stock ID`, the stock of a frame file that does not name one; `load` puts it in."""
    parser.add_argument(
        "--stock",
        dest="frame_stock",
        metavar="ID",
        help="the frame's stock, where the file does not name it; 'recon stocks' lists the ids",
    )


def add_rack(parser: argparse.ArgumentParser) -> None:
    """Add what is owned, and by how much and where longer members may stick out."""
    add = parser.add_argument
    add(
        "--rack",
        metavar="FILE",
        action="append",
        default=[],
        help="what you own, CSV or TOML, with the columns item, id, length, count, first_hole, drilled, "
        "trim; or the frame file of a build that is to be taken apart; it is used first; may be given more "
        "than once",
    )
    add(
        "--overhang",
        metavar="HOLES",
        default="0",
        help="by how many holes, or which length ('80 mm'), a longer member from the rack may stick out "
        "where nothing is in the way (default: 0, none is taken longer)",
    )
    add(
        "--keep-out",
        metavar="BOX",
        action="append",
        default=[],
        help="a box that longer members may not reach into, in pitches of the frame file: 'x,y,z x,y,z', "
        "its lowest and its highest corner; may be given more than once",
    )
    add("--no-floor", action="store_true", help="let longer members reach below the frame's lowest point")


def add_sticks(parser: argparse.ArgumentParser) -> None:
    """Add what sticks to buy are like, and how they are sawn and drilled."""
    add = parser.add_argument
    add(
        "--buy",
        metavar="LENGTH",
        action="append",
        default=[],
        help="a length of stick that can be bought; may be given more than once (default: those of the price "
        "list, else of the stock list)",
    )
    add("--kerf", metavar="LENGTH", help="what the saw takes (default: 3.2 mm; 0 for shears)")
    add(
        "--blank",
        action="store_true",
        help="sticks to buy are not drilled yet: pieces are cut to length, then drilled",
    )
    add(
        "--drill",
        choices=("all", "used"),
        help="how to mark out and drill the members: all holes, or only those that hold a bolt (default: "
        "all, with --blank)",
    )
    add(
        "--first-hole",
        metavar="LENGTH",
        help="of sticks to buy: from the end to the centre of the first hole (default: half a pitch)",
    )
    add("--trim", metavar="LENGTH", help="of sticks to buy: what is no good at each end")


def add_question_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what all commands take that answer a question about a frame: stocks, which way is up, JSON."""
    add_stocks(parser)
    parser.add_argument(
        "--not-upright",
        action="store_true",
        help="z does not point up in the frame file: name axes instead of up and down",
    )
    add_json(parser, "; holes count from 0 there, as in the frame file")


def add_results_folder(parser: argparse.ArgumentParser, what: str) -> None:
    """Add `-o DIR` and `--overwrite`, for a command that writes `what` only where it is asked to."""
    parser.add_argument("-o", "--out", metavar="DIR", help=f"folder to write {what} into")
    add_overwrite(parser)


# What the arguments name


def load(args: argparse.Namespace) -> "tuple[Frame, dict[str, Stock], PriceList | None]":
    """The frame, the stock list and the price list (or None) that the arguments name."""
    from recon.frame.files import load_frame
    from recon.frame.stock import find_stock, load_stocks
    from recon.workshop.hardware.woods import with_wood
    from recon.workshop.parts.prices import load_prices
    from recon.workshop.parts.substitute import with_stock

    stocks = load_stocks(args.stocks)
    if args.wood:
        stocks = with_wood(stocks, args.wood)
    prices = load_prices(args.prices, stocks) if args.prices else None
    frame = load_frame(args.frame, stocks)
    if stock_id := getattr(args, "frame_stock", None):
        frame = with_stock(frame, find_stock(stocks, stock_id))
    return frame, stocks, prices


def load_rack(args: argparse.Namespace, stocks: "Mapping[str, Stock]") -> "tuple[Rack | None, list[Box]]":
    """The rack (or None) and the boxes to keep out of, in pitches, that the arguments name."""
    from recon.frame.files import load_frame
    from recon.workshop.parts.rack import load_rack
    from recon.workshop.parts.rack_from_builds import joined_racks, rack_of_frame

    racks = [
        rack_of_frame(load_frame(path, dict(stocks)), stocks, getattr(args, "bolts", None))
        if path.lower().endswith(".json")
        else load_rack(path, stocks)
        for path in args.rack
    ]
    return joined_racks(racks) if racks else None, [_box(text) for text in args.keep_out]


def overhang_holes(args: argparse.Namespace, frame: "Frame") -> int:
    """By how many holes longer members may stick out, as `--overhang` says."""
    from recon.frame.length import parse_mm
    from recon.workshop.frame_size import known_pitch_mm

    text = args.overhang.strip()
    if text.isdecimal():
        return int(text)
    try:
        length_mm = parse_mm(text)
    except ReconError as error:
        raise ReconError(
            f"--overhang '{text}': write a number of holes, such as 2, or a length: {error}"
        ) from error
    return int(length_mm / known_pitch_mm(frame, "no length can be counted in holes") + 1e-6)


def stick_options(args: argparse.Namespace) -> dict[str, Any]:
    """What the arguments of `add_sticks` say, as arguments of `cut_list`."""
    from recon.frame.length import parse_mm

    if args.blank and args.first_hole:
        raise ReconError("--first-hole is for drilled sticks; leave it or --blank out.")
    return {
        "drilled": not args.blank,
        "kerf_mm": kerf_mm(args),
        "lengths_mm": [parse_mm(text) for text in args.buy],
        "first_hole_mm": parse_mm(args.first_hole) if args.first_hole else None,
        "trim_mm": parse_mm(args.trim) if args.trim else 0.0,
    }


def kerf_mm(args: argparse.Namespace) -> float:
    """What the saw takes, as `--kerf` says; 0 for shears."""
    from recon.frame.length import parse_mm
    from recon.workshop.cutting.cut_list import KERF_MM

    if not args.kerf:
        return KERF_MM
    return 0.0 if re.fullmatch(r"\s*0+(?:[.,]0+)?\s*(?:mm|cm|in|\")?\s*", args.kerf) else parse_mm(args.kerf)


def _box(text: str) -> Box:
    """The lowest and the highest corner of `--keep-out`."""
    try:
        low, high = ([float(x) for x in corner.split(",")] for corner in text.split())
        good = len(low) == len(high) == 3 and all(a < b for a, b in zip(low, high))
    except ValueError:
        good = False
    if not good:
        raise ReconError(
            f"--keep-out '{text}' is not a box; write its lowest and its highest corner in pitches, "
            "such as '0,0,-9 24,12,0'."
        )
    return low, high


# Results and errors


def with_json_errors(run: Command) -> Command:
    """The command, with an error printed as JSON too where JSON was asked for."""

    def command(args: argparse.Namespace) -> int:
        try:
            return run(args)
        except ReconError as error:
            if args.json:
                print(json.dumps({"error": str(error), "exit_code": error.exit_code}))
            raise

    return command


def write_results(args: argparse.Namespace, results: Mapping[str, str]) -> list[str]:
    """Write texts under their names into the folder of -o, all or none; returns their paths."""
    from recon.files import output_folder, write_text_atomic

    with output_folder(args.out, tuple(results), args.overwrite) as staging:
        for name, text in results.items():
            write_text_atomic(staging / name, text)
    return [str(Path(args.out) / name) for name in results]


def print_result(args: argparse.Namespace, data: dict[str, Any], text: str, files: Sequence[str]) -> None:
    """Print the result as JSON where that was asked for, else the text and what was written."""
    if args.json:
        print(json.dumps(data | {"files": list(files)}))
        return
    print(text, end="")
    if files:
        print("\nWritten: " + ", ".join(files))


def print_answer(
    args: argparse.Namespace, data: dict[str, Any], text: str, files: Sequence[str] = ()
) -> None:
    """Print the answer to a question: `print_result` with its lines wrapped, and the caution once."""
    from recon.frame.caution import CAUTION
    from recon.workshop.formats import wrapped

    lines = [wrapped(line.lstrip(), line[: len(line) - len(line.lstrip())]) for line in text.split("\n")]
    print_result(args, data | {"caution": CAUTION}, "\n".join([*lines, "", wrapped(CAUTION)]) + "\n", files)


def laps_json(joints: "Sequence[Joint]") -> list[dict[str, Any]]:
    """Laps as JSON has them, holes counted from 0."""
    return [asdict(j) for j in joints]
