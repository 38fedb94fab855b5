"""`recon stocks`: the stock list."""

import argparse
from collections.abc import Container

from recon.cli.common import Subparsers, add_stocks

_DESCRIPTION = """\
List the stock that is known: its id, pitch, width and hole, and where the sizes come from.

With --usual the workshop's usual stock is kept in your settings. Photos show proportions and not sizes: where
stock of several sizes would look the same, a reading takes the usual one. --stock of 'recon read' goes first.
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon stocks` to the commands."""
    parser = subparsers.add_parser(
        "stocks",
        help="list the stock that is known, with the ids for --stock",
        description=_DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_stocks(parser, note="listed too")
    parser.add_argument(
        "--usual", metavar="ID", help="name the stock that you usually build with; 'none' for none"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run `recon stocks`; returns its exit code."""
    from recon.frame.length import both_text
    from recon.frame.stock import load_stocks
    from recon.frame.usual_stock import set_usual_stock, usual_stock

    stocks = load_stocks(args.stocks)
    if args.usual is not None:
        set_usual_stock(args.usual, stocks)
    usual = usual_stock()
    if args.usual is not None or (usual and usual not in stocks):
        print(f"Your usual stock: {_usual_words(usual, stocks)}")
    if args.usual is not None:
        return 0
    for stock in stocks.values():
        print(f"{stock.id}{' (your usual stock)' if stock.id == usual else ''}\n  {stock.name}")
        print(
            f"  pitch {both_text(stock.pitch_mm)}, width {both_text(stock.width_mm)}, "
            f"hole {both_text(stock.hole_mm)}"
        )
        print(f"  source: {stock.source}")
    return 0


def _usual_words(usual: str | None, stocks: Container[str]) -> str:
    """The usual stock, and whether a reading can find it."""
    if usual is None:
        return "none."
    return (
        f"{usual}."
        if usual in stocks
        else f"{usual}, which is not in this list; give its list with --stocks."
    )
