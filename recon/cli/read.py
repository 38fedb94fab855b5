"""`recon read`: photos in; frame file, overlays, picture and summary out."""

import argparse
import io
import json
from dataclasses import replace
from pathlib import Path

from recon.cli.console import Progress, say
from recon.errors import ReconError

# What a reading leaves in its folder, the frame file last: whoever waits for that one finds the others there.
RESULTS = ("overlays", "frame.png", "summary.txt", "frame.json")

_DESCRIPTION = """\
Read a frame from photographs and write into the folder OUT:

  frame.json      the frame file: members, laps, stock, cameras
  summary.txt     the same in words: lengths, laps, doubts
  frame.png       a picture of the frame in space
  overlays/       each photo with what was read drawn over it: look at these first

Photograph the frame from three or more corners, so that every member shows a row of open holes in at least one photo.
"""
_EPILOG = """\
examples:
  recon read photos/ -o trestle
  recon read left.jpg front.heic right.jpg -o trestle --stock softwood-38
  recon read photos/ -o trestle --length "A = 610 mm"
  recon read photos/ -o trestle --length "16 holes = 24 1/8 in"
  recon read photos/ -o trestle --length "left.jpg 310,420 820,455 = 610 mm"

exit codes: 0 all photos were used; 1 the frame was read, but a photo could not be used (it is named); 2 nothing was read
"""


def add_parser(subparsers) -> None:
    parser = subparsers.add_parser(
        "read",
        help="read a frame from photographs",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add(
        "photos",
        nargs="+",
        metavar="PHOTO",
        help="photo files (JPEG, PNG, WebP, TIFF, HEIC) or folders of them",
    )
    add("-o", "--out", default="frame-out", metavar="OUT", help="folder to write into (default: frame-out)")
    add("--overwrite", action="store_true", help="replace the results of an earlier reading in OUT")
    add("--name", help="what the frame is called")
    add("--stock", metavar="ID", help="the stock it is made of, if you know it; 'recon stocks' lists the ids")
    add(
        "--stocks",
        metavar="FILE",
        help="a TOML file with stock of your own, beside the list that comes with recon",
    )
    add(
        "--length",
        metavar='"WHAT = LENGTH"',
        help="one length that you measured: of a member, by its label or its number of holes, or between two openings "
        "(see the examples); gives the frame its size",
    )
    add("--debug", metavar="DIR", help="also write a picture for each stage of the reading into this folder")
    add("--json", action="store_true", help="print the result as JSON instead of the summary")
    parser.set_defaults(run=run)


def run(args) -> int:
    try:
        return _run(args)
    except ReconError as error:
        if args.json:
            print(json.dumps({"error": str(error), "exit_code": error.exit_code}))
        raise


def _run(args) -> int:
    from recon import solve
    from recon.frame.length import parse_known_length
    from recon.frame.stock import find_stock, load_stocks
    from recon.image.duplicates import drop_duplicates
    from recon.image.photos import find_photos, load_photos
    from recon.show.files import output_folder
    from recon.show.summary import summary_text

    stocks = load_stocks(args.stocks)
    if args.stock:
        find_stock(stocks, args.stock)
    length = parse_known_length(args.length) if args.length else None
    paths = find_photos(args.photos)
    _refuse_folder_of_photos(args.out, paths)
    with output_folder(args.out, RESULTS, args.overwrite) as staging:
        loaded, broken = load_photos(paths, progress=Progress(0.0, 0.1))
        photos, copies = drop_duplicates(loaded)
        aside = [(photo.name, reason) for photo, reason in copies]
        _say_left_out(broken, aside)
        if not photos:
            raise ReconError(
                "None of the files could be read as a photo, so there is nothing to read a frame from."
            )
        reading = solve.read(
            photos,
            stocks=stocks,
            stock_id=args.stock,
            length=length,
            progress=Progress(0.1, 0.9),
            debug_dir=_debug_folder(args.debug),
        )
        _say_left_out([], reading.set_aside)
        aside += reading.set_aside
        frame = replace(_with_all_photos(reading.frame, loaded, aside), name=_name(args, reading.frame))
        summary = summary_text(frame, stocks, broken)
        result = {"frame": frame, "summary": summary, "left_out": broken + aside, "files": []}
        try:
            result["files"] = _write_results(staging, frame, summary, reading, loaded, stocks)
        except ReconError:
            _print_result(args, result)  # the reading took a while: it is not lost for want of room on a disk
            raise
    _print_result(args, result)
    return 1 if result["left_out"] else 0


def _refuse_folder_of_photos(out: str, paths) -> None:
    """In a folder of photos, frame.png would be taken for one of them the next time."""
    for path in paths:
        if path.resolve().parent == Path(out).resolve():
            raise ReconError(
                f"{out}: the photos are in this folder; choose another one for the results with -o."
            )


def _debug_folder(folder: str | None) -> Path | None:
    from recon.files import why_not_written

    if folder is None:
        return None
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise why_not_written(folder, error) from error
    return Path(folder)


def _say_left_out(broken, aside) -> None:
    for name, reason in broken:
        say(f"{name}: not read: {reason}")
    for name, reason in aside:
        say(f"{name}: set aside: {reason.rstrip('.')}.")


def _name(args, frame) -> str:
    """What the user calls it, else what the file says, else the folder that the photos were in."""
    folder = Path(args.photos[0])
    return args.name or frame.name or (folder.resolve().name if folder.is_dir() else "")


def _with_all_photos(frame, loaded, aside):
    """The frame with every photo that was loaded, also those that were set aside."""
    from recon.frame.model import Photo

    known, reasons = {photo.file for photo in frame.photos}, dict(aside)
    others = tuple(
        Photo(photo.name, photo.size, used=False, reason=reasons[photo.name])
        for photo in loaded
        if photo.name not in known and photo.name in reasons
    )
    return replace(frame, photos=frame.photos + others)


def _write_results(staging: Path, frame, summary: str, reading, photos, stocks) -> list[str]:
    """Write RESULTS into the staging folder; returns the files' names, the frame file first."""
    import numpy as np

    from recon.files import write_bytes_atomic, write_text_atomic
    from recon.frame.files import frame_to_text
    from recon.show.overlay import draw_overlay
    from recon.show.picture import HOLE, draw_frame_picture

    progress = Progress(0.9, 1.0)
    progress("drawing the frame", 0.0)
    stock = stocks.get(frame.stock.id) if frame.stock else None
    write_text_atomic(staging / "frame.json", frame_to_text(frame))
    write_text_atomic(staging / "summary.txt", summary)
    draw_frame_picture(frame, staging / "frame.png", hole=stock.hole if stock else HOLE)
    overlays = _overlay_names([photo.name for photo in photos])
    (staging / "overlays").mkdir()
    for k, (photo, name) in enumerate(zip(photos, overlays)):
        progress(f"drawing over {photo.name}", (k + 1) / (len(photos) + 1))
        found = reading.openings.get(photo.name, np.empty((0, 6)))
        image = draw_overlay(
            photo, found, reading.rows.get(photo.name, []), frame, reading.cameras.get(photo.name)
        )
        write_bytes_atomic(staging / "overlays" / name, _jpeg(image))
    progress.done()
    return ["frame.json", "summary.txt", "frame.png", *(f"overlays/{name}" for name in overlays)]


def _overlay_names(names) -> list[str]:
    """A file name of its own for each photo's overlay: that of the photo, with a number where two would be one."""
    taken: set[str] = set()
    result = []
    for name in names:
        base, again = Path(name.replace("/", "_")).stem[:80], 1
        while (free := base if again == 1 else f"{base}_{again}").casefold() in taken:
            again += 1
        taken.add(free.casefold())
        result.append(f"{free}.jpg")
    return result


def _jpeg(image) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(image).save(buffer, "JPEG", quality=88)
    return buffer.getvalue()


def _print_result(args, result) -> None:
    from recon.frame.files import frame_to_dict
    from recon.frame.length import NO_RATIOS, NOT_SURE

    if args.json:
        print(
            json.dumps(
                {
                    "frame": frame_to_dict(result["frame"]),
                    "left_out": [{"photo": name, "reason": reason} for name, reason in result["left_out"]],
                    "files": [str(Path(args.out) / name) for name in result["files"]],
                }
            )
        )
        return
    print(result["summary"])
    if any(text.startswith((NOT_SURE, NO_RATIOS)) for text in result["frame"].doubts):
        print(
            'Give a measured length with --length, as in --length "A = 610 mm"; stock of your own with --stocks FILE.\n'
        )
    if result["files"]:
        print(
            f"Written to {args.out}: {', '.join(RESULTS[::-1])}.\nLook at the overlays first: they show what was read where."
        )
