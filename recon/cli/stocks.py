"""`recon stocks`: the stock list."""

from recon.frame.length import both_text


def add_parser(subparsers) -> None:
    parser = subparsers.add_parser(
        "stocks",
        help="list the stock that is known, with the ids for --stock",
        description="List the stock that is known: its id, pitch, width and hole, and where the sizes come from.",
    )
    parser.add_argument("--stocks", metavar="FILE", help="a TOML file with stock of your own, listed too")
    parser.set_defaults(run=run)


def run(args) -> int:
    from recon.frame.stock import load_stocks

    for stock in load_stocks(args.stocks).values():
        print(f"{stock.id}\n  {stock.name}")
        print(
            f"  pitch {both_text(stock.pitch_mm)}, width {both_text(stock.width_mm)}, hole {both_text(stock.hole_mm)}"
        )
        print(f"  source: {stock.source}")
    return 0
