"""`recon page`: the page to check and correct a reading, on this machine."""

import argparse

from recon.cli.common import Subparsers, add_stocks

_DESCRIPTION = """\
Open the page for a build: a folder with the photos, every correction, and the frame file. The folder is
created where it does not exist; a folder with photos, or with photos and a frame.json, becomes a build.
Without a folder the page begins with the builds that were opened last, and says where each is.

The browser opens by itself. The page is for this machine alone; with --phone it also lets in a phone in the
same network, by a QR code with a key that works once.
"""
_EPILOG = """\
examples:
  recon page trestle
  recon page trestle --port 8180
  recon page trestle --phone                        (takes photos with a phone in the same network)
  recon page trestle --rescue trestle-2             (where its journal is damaged)
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon page` to the commands."""
    parser = subparsers.add_parser(
        "page",
        help="read, check and correct a frame on a page in the browser",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add(
        "build",
        nargs="?",
        metavar="BUILD",
        help="the build's folder; without it the page lists the last ones",
    )
    add("--port", type=int, default=8174, help="port to answer on; 0 takes a free one (default: 8174)")
    add(
        "--host",
        help="address to answer on (default: this machine alone, or with --phone its own in the network)",
    )
    add(
        "--key",
        action="store_true",
        help="needed with --host: browsers come in by an address with a key that works once",
    )
    add(
        "--phone",
        action="store_true",
        help="let a phone in the same network take photos into the build: shows its address as a QR code",
    )
    add("--no-browser", action="store_true", help="only print the address; open no browser")
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
    from webui.browser import open_browser
    from webui.network import network_address, qr_text
    from webui.serve import open_page
    from webui.storage.rescue import rescue_build

    hear_signals()
    let_it_end_by_itself()  # what was changed is saved first
    if not 0 <= args.port < 65536:
        raise ReconError(f"--port {args.port}: a port is 0 to 65535.")
    if args.rescue:
        if args.build is None:
            raise ReconError("--rescue: name the build whose journal is damaged as well.")
        say(rescue_build(args.build, args.rescue))
    host = args.host or (network_address() if args.phone else "127.0.0.1")
    page = open_page(
        args.rescue or args.build,
        host=host,
        port=args.port,
        key=args.key or args.phone,
        stocks=load_stocks_of_user(args.stocks),
        say=say,
    )
    print(page.address, flush=True)
    if args.phone:
        phone = page.phone_address()
        say(f"{qr_text(phone)}\nFor the phone: point its camera at this, or open {phone}")
    opened = not args.no_browser and open_browser(page.address)
    where = "is open in your browser" if opened else "is at the address above: open it in a browser"
    build = f" The build is in {page.folder}." if page.folder else ""
    say(f"The page {where}.{build} Ctrl-C ends the page; everything is kept.")
    try:
        page.serve()
    except KeyboardInterrupt:
        say("The page is closed; everything is kept.")
    finally:
        page.close()
    return 0
