"""`recon gallery`: a folder of builds as a static site."""

import argparse
import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from recon.cli.common import EXIT_CODES, Subparsers, add_json, add_overwrite, add_stocks, with_json_errors
from recon.cli.console import Progress, say
from recon.cli.read_rows import overlay_names
from recon.errors import ReconError

if TYPE_CHECKING:
    from recon.frame.model import Frame

_DESCRIPTION = """\
Make a static site of a folder of builds: an index, and a page for each build with the frame in space, its
photos, its papers and files for other programs. It needs no network and any web server serves it.

A build is a frame file in FOLDER, or a folder in it with a frame.json, as 'recon read' and 'recon page' leave
it.
"""
_EPILOG = f"""\
examples:
  recon gallery builds -o site

{EXIT_CODES}
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add the command's parser."""
    parser = subparsers.add_parser(
        "gallery",
        help="make a static site of a folder of builds",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("folder", metavar="FOLDER", help="the folder of builds")
    add("-o", "--out", metavar="SITE", default="site", help="folder to write into (default: site)")
    add("--title", metavar="TEXT", default="", help="of the index (default: the folder's name)")
    add_stocks(parser)
    add_json(parser)
    add_overwrite(parser)
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Write the site; returns the exit code."""
    from recon.files import output_folder, write_bytes_atomic
    from recon.frame.files import load_frame
    from recon.frame.stock import load_stocks
    from recon.show.gallery import GalleryBuild, build_files, index_page, slug_of

    stocks = load_stocks(args.stocks)
    builds: list[GalleryBuild] = []
    missing: list[str] = []
    for path in frame_files(Path(args.folder)):
        frame = load_frame(str(path), stocks)
        name = frame.name or (path.parent.name if path.name == "frame.json" else path.stem)
        if not frame.members:
            missing.append(f"{path}: the frame has no members and is left out.")
            continue
        slug = slug_of(name, [b.slug for b in builds])
        builds.append(GalleryBuild(slug, frame, _photos(path.parent, frame)))
    if not builds:
        raise ReconError(
            f"There is no frame file in '{args.folder}' or in a folder in it; name another folder."
        )
    progress = Progress()
    names = [*(f"{b.slug}/" for b in builds), "index.html"]
    with output_folder(args.out, names, args.overwrite, lambda _: True) as staging:
        for k, build in enumerate(builds):
            files, left_out = build_files(build, stocks, partial(progress, fraction=k / len(builds)))
            missing += left_out
            (staging / build.slug).mkdir()
            for name, data in files.items():
                write_bytes_atomic(staging / build.slug / name, data)
        title = args.title or Path(args.folder).resolve().name
        write_bytes_atomic(staging / "index.html", index_page(builds, title).encode("utf-8"))
    progress.done()
    for sentence in missing:
        say(sentence)
    index = str(Path(args.out) / "index.html")
    answer = {"builds": [b.slug for b in builds], "missing": missing, "files": [index]}
    print(json.dumps(answer) if args.json else f"{len(builds)} builds. Written: {index}")
    return 1 if missing else 0


def frame_files(folder: Path) -> list[Path]:
    """The frame files of a folder of builds: in it, and as frame.json in the folders in it."""
    if not folder.is_dir():
        raise ReconError(f"'{folder}' is no folder; name one that holds builds.")
    return sorted([*folder.glob("*.json"), *folder.glob("*/frame.json")])


def _photos(folder: Path, frame: "Frame") -> tuple[tuple[str, bytes], ...]:
    """The overlays beside a frame file, else the photos of a build's folder, reduced."""
    import io

    from PIL import Image

    names = [photo.file for photo in frame.photos]
    places = [(name, folder / "overlays" / file) for name, file in zip(names, overlay_names(names))]
    found = [(n, p) for n, p in places if p.is_file()] or [
        (n, folder / "photos" / n) for n in names if (folder / "photos" / n).is_file()
    ]
    made = []
    for name, path in found:
        out = io.BytesIO()
        with Image.open(path) as image:
            image.thumbnail((1600, 1600))
            image.convert("RGB").save(out, "JPEG", quality=85)
        made.append((name, out.getvalue()))
    return tuple(made)
