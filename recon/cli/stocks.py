"""`recon stocks`: the stock list."""

import argparse

from recon.cli.common import Subparsers, add_stocks

_DESCRIPTION = "List the stock that is known: its id, pitch, width and hole, and where the sizes come from."


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon stocks` to the commands."""
    parser = subparsers.add_parser(
        "stocks",
        help="list the stock that is known, with the ids for --stock",
        description=_DESCRIPTION,
    )
    add_stocks(parser, note="listed too")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run `recon stocks`; returns its exit code."""
    from recon.frame.length import both_text
    from recon.frame.stock import load_stocks

    for stock in load_stocks(args.stocks).values():
        print(f"{stock.id}\n  {stock.name}")
        print(
            f"  pitch {both_text(stock.pitch_mm)}, width {both_text(stock.width_mm)}, "
            f"hole {both_text(stock.hole_mm)}"
        )
        print(f"  source: {stock.source}")
    return 0
