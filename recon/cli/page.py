"""`recon page`: the page to check and correct a reading, on this machine."""

import argparse

from recon.cli.common import Subparsers, add_stocks

_DESCRIPTION = """\
Open the page for a build: a folder with the photos, every correction, and the frame file. The folder is
created where it does not exist; a folder with photos, or with photos and a frame.json, becomes a build.

The page is for this machine alone unless --host names another interface; then a browser comes in by an
address with a key that works once.
"""
_EPILOG = """\
examples:
  recon page trestle
  recon page trestle --port 8180
  recon page trestle --rescue trestle-2             (where its journal is damaged)
  recon page trestle --host 192.168.1.20 --key      (for a phone in the same network)
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon page` to the commands."""
    parser = subparsers.add_parser(
        "page",
        help="check and correct a reading on a page in the browser",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("build", nargs="?", default="build", metavar="BUILD", help="the build's folder (default: build)")
    add("--port", type=int, default=8174, help="port to answer on; 0 takes a free one (default: 8174)")
    add("--host", default="127.0.0.1", help="address to answer on (default: this machine alone)")
    add(
        "--key",
        action="store_true",
        help="needed with --host: browsers come in by an address with a key that works once",
    )
    add(
        "--rescue",
        metavar="NEW",
        help="where the build's journal is damaged: copy the build up to the damage into the folder NEW, "
        "and open that",
    )
    add_stocks(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run `recon page` until it is stopped; returns its exit code."""
    from recon.cli.console import say
    from recon.cli.stopping import hear_signals, let_it_end_by_itself
    from recon.errors import ReconError
    from recon.frame.usual_stock import load_stocks_of_user
    from webui.serve import open_page
    from webui.storage.rescue import rescue_build

    hear_signals()
    let_it_end_by_itself()  # what was changed is saved first
    if not 0 <= args.port < 65536:
        raise ReconError(f"--port {args.port}: a port is 0 to 65535.")
    if args.rescue:
        say(rescue_build(args.build, args.rescue))
    page = open_page(
        args.rescue or args.build,
        host=args.host,
        port=args.port,
        key=args.key,
        stocks=load_stocks_of_user(args.stocks),
        say=say,
    )
    print(page.address, flush=True)
    say("The page is at the address above. Ctrl-C ends it; everything is kept.")
    try:
        page.serve()
    except KeyboardInterrupt:
        say("The page is closed; everything is kept.")
    finally:
        page.close()
    return 0
