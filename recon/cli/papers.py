"""`recon papers`: all that a stranger needs to build a frame, as one PDF and one HTML file."""

import argparse
import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from recon.cli.builds import PHOTO_PX, kept_in
from recon.cli.common import (
    Subparsers,
    add_rack,
    add_sticks,
    add_stock,
    add_workshop_arguments,
    load,
    load_rack,
    overhang_holes,
    stick_options,
    with_json_errors,
)
from recon.cli.console import Progress, say
from recon.cli.read_rows import overlay_names
from recon.workshop.drawing.paper import ANGLES, PAPERS

if TYPE_CHECKING:
    from recon.frame.model import Frame

RESULTS = ("labels.pdf", "papers.html", "papers.pdf")

_DESCRIPTION = """\
Write the papers of a frame into the folder OUT: papers.pdf for the printer and papers.html, one file for any
browser.

Both hold a picture, the parts list, the cut list with a picture of each stick, front, top and side views with
hole numbers, the joint table, and build steps with a picture each. Where FRAME lies in a build's folder, as
'recon page' leaves it, notes and photos at steps and the photos of the build are in them, too.
"""
_EPILOG = """\
examples:
  recon papers trestle/frame.json -o trestle/papers
  recon papers trestle/frame.json -o trestle/papers --paper letter --rack rack.csv --prices prices.csv
  recon papers by-hand.json -o papers --stock softwood-38 --projection third

exit codes: 0 done; 1 done, but a part could not be made (it is named, and the papers say why in its place);
2 nothing done (a sentence says why); 3 a fault in recon itself; 130 stopped with Ctrl-C
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "papers",
        help="write papers to build a frame from",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_workshop_arguments(parser)
    add_stock(parser)
    add_rack(parser)
    add = parser.add_argument
    add("-o", "--out", metavar="OUT", default="papers", help="folder to write into (default: papers)")
    add("--paper", choices=tuple(PAPERS), default="a4", help="size of the paper (default: a4)")
    add(
        "--projection",
        choices=ANGLES,
        help="how the three views lie: in first or third angle (default: first on A4, third on Letter)",
    )
    add("--lock-nuts", action="store_true", help="nuts with nylon insert: for what rolls or shakes")
    add("--bolts", choices=("metric", "inch"), help="which bolts; by the stock where it is left out")
    add(
        "--thread",
        metavar="THREAD",
        help="of all bolts, such as M8 or 5/16, in place of the largest that passes the holes",
    )
    add_sticks(parser)
    add(
        "--overlays",
        metavar="FOLDER",
        help="the folder of the photos with what was read in them (default: 'overlays' beside FRAME, where "
        "'recon read' puts it)",
    )
    add("--date", metavar="DATE", help="of the build, on each page (default: the day FRAME was last changed)")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write the papers; returns the exit code."""
    from recon.files import output_folder, write_bytes_atomic
    from recon.show.exports import cover_picture
    from recon.workshop.hardware.threads import find_thread
    from recon.workshop.papers.choices import Enclosed, PapersChoices, PartsChoices
    from recon.workshop.papers.compose import compose_papers
    from recon.workshop.papers.html import papers_html
    from recon.workshop.papers.labels import labels_pdf
    from recon.workshop.papers.pdf import papers_pdf
    from recon.workshop.parts.rack import as_built, use_rack

    frame, stocks, prices = load(args)
    rack, keep_out = load_rack(args, stocks)
    overhang = overhang_holes(args, frame)
    use = use_rack(frame, rack, stocks, keep_out, not args.no_floor, overhang) if rack else None
    thread = find_thread(args.thread) if args.thread else None
    chosen = PartsChoices(
        prices, rack, keep_out, not args.no_floor, overhang, args.lock_nuts, args.bolts, thread
    )
    progress = Progress()
    with output_folder(args.out, RESULTS, args.overwrite) as staging:
        progress("drawing the frame", 0.0)
        picture = cover_picture(as_built(frame, use), stocks)
        progress("parts, cuts, drawings and steps", 0.1)
        made = compose_papers(
            frame,
            stocks,
            PapersChoices(args.paper, args.projection, chosen, stick_options(args), args.drill),
            Enclosed(
                picture,
                photos=_photos(args, frame),
                kept=kept_in(Path(args.frame).parent, frame),
                date=args.date or _changed_on(args.frame),
            ),
        )
        progress("writing papers.pdf", 0.6)
        write_bytes_atomic(staging / "papers.pdf", papers_pdf(made.document))
        write_bytes_atomic(staging / "labels.pdf", labels_pdf(as_built(frame, use), stocks, args.paper))
        progress("writing papers.html", 0.9)
        write_bytes_atomic(staging / "papers.html", papers_html(made.document).encode("utf-8"))
        progress.done()
    for sentence in made.missing:
        say(sentence)
    files = [str(Path(args.out) / name) for name in RESULTS]
    print(
        json.dumps({"missing": made.missing, "files": files}) if args.json else f"Written: {', '.join(files)}"
    )
    return 1 if made.missing else 0


def _photos(args: argparse.Namespace, frame: "Frame") -> list[tuple[str, bytes]]:
    """The overlays of the frame's photos, as far as they are there: name and JPEG, reduced for printing."""
    from recon.errors import ReconError

    folder = Path(args.overlays) if args.overlays else Path(args.frame).parent / "overlays"
    names = [photo.file for photo in frame.photos]
    found = [(name, folder / file) for name, file in zip(names, overlay_names(names))]
    there = [(name, _reduced(path)) for name, path in found if path.is_file()]
    if args.overlays and not there:
        raise ReconError(
            f"'{args.overlays}' holds no overlay of the frame's photos; name the folder 'overlays' that "
            "'recon read' wrote."
        )
    return there


def _reduced(path: Path) -> bytes:
    import io

    from PIL import Image

    out = io.BytesIO()
    with Image.open(path) as image:
        image.thumbnail((PHOTO_PX, PHOTO_PX))
        image.convert("RGB").save(out, "JPEG", quality=85)
    return out.getvalue()


def _changed_on(path: str) -> str:
    """The day on which a file was last changed, as ISO 8601 writes it."""
    return date.fromtimestamp(Path(path).stat().st_mtime).isoformat()
