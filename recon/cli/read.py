"""`recon read`: photos in; frame file, overlays, picture and summary out."""

import argparse
import contextlib
import json
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from recon.cli.common import Subparsers, add_json, add_stocks, with_json_errors
from recon.cli.console import Progress, printable, say
from recon.cli.read_rows import (
    OVERLAYS,
    ROWS_FILE,
    is_overlay,
    overlay_names,
    print_rows,
    rows_left_sentence,
    rows_of,
    write_jpeg,
    write_rows,
)
from recon.cli.read_videos import PHOTOS, is_picture_of, videos_of, with_pictures
from recon.errors import ReconError
from recon.limits import one_thread_of_algebra

if TYPE_CHECKING:
    import numpy as np

    from recon.frame.length import KnownLength
    from recon.frame.model import Frame
    from recon.frame.stock import Stock
    from recon.image.photo_rows import PhotoRows
    from recon.image.photos import PhotoImage
    from recon.solve.reading import Reading

STOPPED = 130  # exit code of an error that says that the user stopped the work
# What a reading leaves in its folder, the frame file last: whoever waits for that one finds the others there.
RESULTS = (OVERLAYS, "frame.png", "summary.txt", ROWS_FILE, "frame.json")
DEFAULT_OUT = "frame-out"
MOST_JOBS = 64  # readings at a time: each takes up to 2 GB of memory

_DESCRIPTION = """\
Read a frame from photographs and write into the folder OUT:

  frame.json      the frame file: members, laps, stock, cameras
  summary.txt     the same in words: lengths, laps, doubts
  frame.png       a picture of the frame in space
  rows.json       openings and rows of each photo with their hole counts
  overlays/       each photo with what was read drawn over it: look at these first
  photos/         where a video was given, the pictures chosen from it

Where no frame can be read, rows.json and the overlays are written all the same.
Photograph the frame from three or more corners, so that every member shows a row of open holes in at least
one photo.
"""
_EPILOG = """\
examples:
  recon read photos/ -o trestle
  recon read left.jpg front.heic right.jpg -o trestle --stock softwood-38
  recon read walk.mp4 -o trestle
  recon read photos/ -o trestle --length "A = 610 mm"
  recon read photos/ -o trestle --length "16 holes = 24 1/8 in"
  recon read photos/ --rows
  recon read builds/ --each -o results
  recon read photos/ -o trestle --length "left.jpg 310,420 820,455 = 610 mm"

exit codes: 0 all photos were used; 1 the frame was read, but a photo could not be used (it is named);
2 no frame was read
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon read` to the commands."""
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
        help="photo files (JPEG, PNG, WebP, TIFF, HEIC), videos walked round the frame (MP4, MOV, MKV, WebM, "
        "AVI), or folders of them",
    )
    add("-o", "--out", metavar="OUT", help=f"folder to write into (default: {DEFAULT_OUT})")
    add(
        "--rows",
        action="store_true",
        help="only find rows of openings and count their holes: a table, and with -o rows.json and overlays",
    )
    add(
        "--each",
        action="store_true",
        help="PHOTO is a folder of builds, each a folder of photos: read all, several at a time, each into a "
        "folder of its name in OUT; builds that have results there are left as they are",
    )
    add(
        "--jobs",
        type=_jobs,
        metavar="N",
        help="with --each: builds that are read at a time (default: half of the processors)",
    )
    add(
        "--processes",
        type=_jobs,
        metavar="N",
        help="processes that read one frame together (default: one for each processor, 4 at most; with "
        "--each 2)",
    )
    add("--overwrite", action="store_true", help="replace the results of an earlier reading in OUT")
    add("--name", help="what the frame is called")
    add("--stock", metavar="ID", help="the stock it is made of, if you know it; 'recon stocks' lists the ids")
    add_stocks(parser)
    add(
        "--length",
        metavar='"WHAT = LENGTH"',
        help="one length that you measured: of a member, by its label or its number of holes, or between two "
        "openings (see the examples); gives the frame its size",
    )
    add("--debug", metavar="DIR", help="also write a picture for each stage of the reading into this folder")
    add_json(parser, " instead of the summary")
    parser.set_defaults(run=with_json_errors(run))


def _jobs(text: str) -> int:
    """The number of `--jobs` or `--processes`."""
    number = int(text)
    if not 1 <= number <= MOST_JOBS:
        raise argparse.ArgumentTypeError(f"{text} is not from 1 to {MOST_JOBS}")
    return number


@dataclass(frozen=True)
class _Result:
    """What a reading gave: the frame, its summary, photos left out, each with the reason, and rows."""

    frame: "Frame"
    summary: str
    left_out: list[tuple[str, str]]
    rows: "list[PhotoRows]"


def run(args: argparse.Namespace) -> int:
    """Run `recon read`; returns its exit code."""
    one_thread_of_algebra()  # before NumPy is loaded
    from recon.frame.length import parse_known_length
    from recon.frame.stock import find_stock
    from recon.frame.usual_stock import load_stocks_of_user
    from recon.image.photos import find_photos

    if args.each:
        from recon.cli.read_each import read_each  # it starts processes, of which help knows nothing

        return read_each(args, RESULTS, DEFAULT_OUT)
    _check_name(args.name)
    stocks = load_stocks_of_user(args.stocks)
    if args.stock:
        find_stock(stocks, args.stock)
    length = parse_known_length(args.length) if args.length else None
    paths = find_photos(args.photos, videos=True)
    if args.rows:
        return _run_rows(args, paths)
    return _run_frame(args, paths, stocks, length)


def _run_frame(
    args: argparse.Namespace, paths: "list[Path]", stocks: "dict[str, Stock]", length: "KnownLength | None"
) -> int:
    """Reads the frame and writes what was found; returns the exit code."""
    from recon import solve
    from recon.image.photo_rows import with_result
    from recon.image.video.choice import LEAST
    from recon.show.summary import summary_text
    from recon.solve.each_photo import workers_for

    args.out = args.out or DEFAULT_OUT
    _refuse_folder_of_photos(args.out, paths)
    count = len(paths) + LEAST * len(videos_of(paths))  # pictures are chosen from videos
    with _results_folder(args, paths) as staging, workers_for(count, args.processes) as workers:
        loaded, photos, broken, aside = _load(paths, staging / PHOTOS, args.out)
        debug_dir = _debug_folder(args.debug)
        detected: dict[str, np.ndarray] = {}
        failed: ReconError | None = None
        try:
            reading = solve.read(
                photos,
                stocks=stocks,
                stock_id=args.stock,
                length=length,
                progress=Progress(0.1, 0.9),
                debug_dir=debug_dir,
                detected=detected,
                workers=workers,
            )
        except ReconError as error:
            if error.exit_code == STOPPED or _holds_results(args.out):
                raise
            failed = error
        rows = rows_of(photos, detected, Progress(0.9, 0.93))
        if failed:
            rows = [with_result(found, None, str(failed)) for found in rows]
            write_rows(staging, photos, rows, overlay_names([photo.name for photo in photos]))
        else:
            _say_left_out([], reading.set_aside)
            aside += reading.set_aside
            frame = replace(_with_all_photos(reading.frame, loaded, aside), name=_name(args, reading.frame))
            rows = _with_results(rows, reading, aside)
            timecodes = {photo.name: photo.timecode for photo in loaded if photo.timecode}
            result = _Result(frame, summary_text(frame, stocks, broken, timecodes), broken + aside, rows)
            try:
                files = _write_results(staging, result, reading, loaded, stocks)
            except ReconError:
                _print_result(args, result, [])  # the reading took a while: a full disk must not lose it
                raise
    if failed:
        raise ReconError(f"{failed} {rows_left_sentence(args.out, rows)}", failed.exit_code)
    _print_result(args, result, files)
    if reading.not_written:
        say(f"--debug: {reading.not_written}")
    return 1 if result.left_out or reading.not_written else 0


def _results_folder(args: argparse.Namespace, paths: Sequence[Path]) -> AbstractContextManager[Path]:
    """The folder for what is written, with one for photos where a video is given; moved to its place last."""
    from recon.files import output_folder

    videos = videos_of(paths)
    is_picture = is_picture_of(videos)
    results = (PHOTOS, *RESULTS) if videos else RESULTS
    return output_folder(args.out, results, args.overwrite, lambda p: is_overlay(p) or is_picture(p))


def _with_results(
    rows: "Sequence[PhotoRows]", reading: "Reading", aside: Sequence[tuple[str, str]]
) -> "list[PhotoRows]":
    """The rows of each photo with its camera, or why it was set aside."""
    from recon.image.photo_rows import with_result

    reasons = dict(aside)
    return [with_result(r, reading.cameras.get(r.name), reasons.get(r.name, "")) for r in rows]


def _run_rows(args: argparse.Namespace, paths: Sequence[Path]) -> int:
    """`recon read --rows`: openings and rows alone."""
    if args.out:
        _refuse_folder_of_photos(args.out, paths)
    with contextlib.ExitStack() as stack:
        # An earlier frame in that folder would not be that of these rows.
        staging = args.out and stack.enter_context(_results_folder(args, paths))
        pictures = staging / PHOTOS if staging else Path(stack.enter_context(TemporaryDirectory()))
        _, photos, broken, aside = _load(paths, pictures, args.out)
        rows = rows_of(photos, {}, Progress(0.1, 0.9))
        files = write_rows(staging, photos, rows, overlay_names([p.name for p in photos])) if staging else []
    print_rows(args, rows, broken + aside, [str(Path(args.out) / name) for name in files])
    return 1 if broken or aside else 0


def _load(
    paths: Sequence[Path], pictures: Path, out: str | None
) -> "tuple[list[PhotoImage], list[PhotoImage], list[tuple[str, str]], list[tuple[str, str]]]":
    """Photos loaded, those of them to read, files that are no photos and copies, each with the reason.

    pictures : the folder for those chosen from videos
    """
    from recon.image.duplicates import drop_duplicates
    from recon.image.photos import load_photos

    begun = 0.05 if videos_of(paths) else 0.0
    paths, broken_videos = with_pictures(paths, pictures, out, Progress(0.0, begun))
    loaded, broken = load_photos(paths, progress=Progress(begun, 0.1))
    broken = broken_videos + broken
    photos, copies = drop_duplicates(loaded)
    aside = [(photo.name, reason) for photo, reason in copies]
    _say_left_out(broken, aside)
    if not photos:
        raise ReconError(
            "None of the files could be read as a photo, so there is nothing to read a frame from."
        )
    return loaded, photos, broken, aside


def _holds_results(out: str) -> bool:
    """Whether an earlier reading's results are in the folder: a reading that fails leaves them there."""
    return any((Path(out) / name).exists() for name in RESULTS)


def _refuse_folder_of_photos(out: str, paths: Sequence[Path]) -> None:
    """Refuse a folder of photos for the results: frame.png would be taken for one of them the next time."""
    for path in paths:
        if path.resolve().parent == Path(out).resolve():
            raise ReconError(
                f"{out}: the photos are in this folder; choose another one for the results with -o."
            )


def _debug_folder(folder: str | None) -> Path | None:
    """The folder for pictures of the stages, of which it is certain that it can be made."""
    from recon.files import try_folder

    if folder is None:
        return None
    from recon.solve.debug.stages import refuse_used_folder

    try_folder(folder)
    refuse_used_folder(folder)
    return Path(folder)


def _say_left_out(broken: Sequence[tuple[str, str]], aside: Sequence[tuple[str, str]]) -> None:
    """Name on stderr the files that could not be read and the photos that were set aside."""
    for name, reason in broken:
        say(f"{name}: not read: {reason}")
    for name, reason in aside:
        say(f"{name}: set aside: {reason.rstrip('.')}.")


def _check_name(name: str | None) -> None:
    """Refuse a name that no frame file may have."""
    from recon.frame.files import LONGEST_NAME
    from recon.frame.user_files import no_text

    if name is not None and (len(name) > LONGEST_NAME or no_text(name)):
        raise ReconError(f"--name: a frame's name is text of at most {LONGEST_NAME} characters.")


def _name(args: argparse.Namespace, frame: "Frame") -> str:
    """What the user calls it, else what the file says, else the folder that the photos were in."""
    from recon.frame.files import LONGEST_NAME

    folder = Path(args.photos[0])
    of_folder = printable(folder.resolve().name, "")[:LONGEST_NAME] if folder.is_dir() else ""
    return args.name or frame.name or of_folder


def _with_all_photos(
    frame: "Frame", loaded: "Sequence[PhotoImage]", aside: Sequence[tuple[str, str]]
) -> "Frame":
    """The frame with every photo that was loaded, also those that were set aside."""
    from recon.frame.model import Photo

    known, reasons = {photo.file for photo in frame.photos}, dict(aside)
    others = tuple(
        Photo(photo.name, photo.size, used=False, reason=reasons[photo.name])
        for photo in loaded
        if photo.name not in known and photo.name in reasons
    )
    return replace(frame, photos=frame.photos + others)


def _write_results(
    staging: Path,
    result: _Result,
    reading: "Reading",
    photos: "Sequence[PhotoImage]",
    stocks: "Mapping[str, Stock]",
) -> list[str]:
    """Write RESULTS into the staging folder; returns the files' names, the frame file first."""
    import numpy as np

    from recon.files import write_text_atomic
    from recon.frame.files import frame_to_text
    from recon.image.rows_file import rows_to_text
    from recon.show.overlay import draw_overlay
    from recon.show.picture import HOLE, draw_frame_picture

    progress, frame = Progress(0.93, 1.0), result.frame
    progress("drawing the frame", 0.0)
    stock = stocks.get(frame.stock.id) if frame.stock and frame.stock.id else None
    write_text_atomic(staging / "frame.json", frame_to_text(frame))
    write_text_atomic(staging / "summary.txt", result.summary)
    write_text_atomic(staging / ROWS_FILE, rows_to_text(result.rows))
    draw_frame_picture(frame, staging / "frame.png", hole=stock.hole if stock else HOLE)
    overlays = overlay_names([photo.name for photo in photos])
    (staging / "overlays").mkdir()
    for k, (photo, name) in enumerate(zip(photos, overlays)):
        progress(f"drawing over {photo.name}", (k + 1) / (len(photos) + 1))
        found = reading.openings.get(photo.name, np.empty((0, 6)))
        image = draw_overlay(
            photo, found, reading.rows.get(photo.name, []), frame, reading.cameras.get(photo.name)
        )
        write_jpeg(staging / "overlays" / name, image)
    progress.done()
    names = ["frame.json", "summary.txt", "frame.png", ROWS_FILE, *(f"overlays/{name}" for name in overlays)]
    return names + [f"{PHOTOS}{path.name}" for path in sorted((staging / PHOTOS).glob("*"))]


def _print_result(args: argparse.Namespace, result: _Result, files: Sequence[str]) -> None:
    """Print the result as JSON where that was asked for, else the summary and what to do next."""
    from recon.frame.files import frame_to_dict
    from recon.frame.length import NO_RATIOS, NOT_SURE

    if args.json:
        print(
            json.dumps(
                {
                    "frame": frame_to_dict(result.frame),
                    "left_out": [{"photo": name, "reason": reason} for name, reason in result.left_out],
                    "files": [str(Path(args.out) / name) for name in files],
                }
            )
        )
        return
    print(result.summary)
    if any(text.startswith((NOT_SURE, NO_RATIOS)) for text in result.frame.doubts):
        print(
            'Give a measured length with --length, as in --length "A = 610 mm"; '
            "stock of your own with --stocks FILE.\n"
        )
    if files:
        print(
            f"Written to {args.out}: {', '.join(RESULTS[::-1])}{_also(files)}.\n"
            "Look at the overlays first: they show what was read where."
        )


def _also(files: Sequence[str]) -> str:
    """The folder of pictures chosen from videos, where there are any."""
    return f", {PHOTOS}" if any(name.startswith(PHOTOS) for name in files) else ""
