"""What is claimed of pictures that show no frame: it should be nothing.

    python -m recon.bench nothing [FOLDER_OR_FILE ...] [--together] [--textures N] [--json FILE]

A folder's pictures are read one by one, and with --together all of them as one set of photos, too; folders of
a folder are looked into.  Without an argument come the sample pictures that scikit-image, SciPy, Matplotlib
and OpenCV have on this machine (nothing is downloaded) and, in a checkout of the project, N procedural
textures.  The table counts the members that are claimed, those called sure, and the sentences of refusal.
The exit code is 1 where a member is called sure.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import json
import os
import re
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image

from recon.bench.reading_table import share
from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.files import frame_to_dict
from recon.frame.stock import Stock, load_stocks
from recon.image.photos import SUFFIXES, load_photo, natural_key

TEXTURES = 60  # read by default: as many as there are sample pictures, twice.  This project's choice
# Folders with sample pictures below the packages that may be installed, and below the user's cache, where
# SciPy and scikit-image keep what was downloaded before.
IN_PACKAGES = {"skimage": "data", "matplotlib": "mpl-data/sample_data", "scipy": "datasets", "cv2": "data"}
IN_CACHE = ("scipy-data", "scikit-image")

_FILE_NAME = re.compile(
    r"[^\s(]+\.(?:" + "|".join(s.lstrip(".") for s in sorted(SUFFIXES)) + r")\b", re.IGNORECASE
)


@dataclass(frozen=True)
class Picture:
    """What is read at once: a name, and the files of one picture or of a set."""

    name: str
    files: tuple[Path, ...]


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns 1 where a member is called sure."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench nothing", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("paths", nargs="*", type=Path, metavar="FOLDER_OR_FILE")
    parser.add_argument("--together", action="store_true", help="read each folder's pictures as one set, too")
    parser.add_argument(
        "--textures", type=int, default=TEXTURES, help="how many, where no picture is named (%(default)s)"
    )
    parser.add_argument("--json", type=Path, help="write all figures to this file, too")
    opts = parser.parse_args(args)
    rows: list[dict[str, Any]] = []
    stocks = load_stocks()
    with tempfile.TemporaryDirectory() as folder:
        paths = opts.paths or [*sample_folders(), *_textures(Path(folder), opts.textures)]
        for picture in pictures_in(paths, opts.together):
            rows.append(measure(picture, stocks))
            print(line(rows[-1]), flush=True)
    print(totals(rows))
    if opts.json:
        opts.json.write_text(json.dumps(rows, indent=1))
    return int(any(row["sure"] for row in rows))


def sample_folders() -> list[Path]:
    """The folders with sample pictures that other packages have on this machine."""
    found = []
    for package, below in IN_PACKAGES.items():
        spec = importlib.util.find_spec(package)
        found += [Path(place) / below for place in (spec and spec.submodule_search_locations) or []]
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    found += [cache / name for name in IN_CACHE]
    if opencv := os.environ.get("OPENCV_SAMPLES_DATA_PATH"):
        found.append(Path(opencv))
    return [folder for folder in found if folder.is_dir() and _files_in(folder)]


def _textures(folder: Path, count: int) -> list[Path]:
    """Textures of the project's own renderer, written as files; none where the renderer is not installed."""
    try:
        renderer = importlib.import_module("tests.render.texture_pictures")
    except ImportError:
        print("no textures: the renderer is only in a checkout of the project")
        return []
    paths = []
    for number in range(count):
        name, picture = renderer.texture_picture(number)
        paths.append(folder / f"{name}.png")
        Image.fromarray(picture).save(paths[-1])
    return paths


def _files_in(folder: Path) -> list[Path]:
    return sorted(
        (p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file()), key=natural_key
    )


def pictures_in(paths: Iterable[Path], together: bool = False) -> list[Picture]:
    """What to read: each picture that is named or in a folder, and with `together` each folder as a set.

    Raises
    ------
    ReconError
        Where there is none, or a folder's truth has members: that is no picture of nothing.
    """
    found: list[Picture] = []
    for path in paths:
        if not path.is_dir():
            found.append(Picture(path.name, (path,)))
            continue
        for folder in [path, *sorted(p for p in path.rglob("*") if p.is_dir())]:
            truth = folder / "truth.json"
            if truth.is_file() and json.loads(truth.read_text(encoding="utf-8"))["sticks"]:
                raise ReconError(f"{truth}: lists members; name pictures that show no frame.")
            files = _files_in(folder)
            found += [Picture(f"{folder.name}/{file.name}", (file,)) for file in files]
            if together and len(files) > 1:
                found.append(Picture(f"{folder.name}/*", tuple(files)))
    if not found:
        raise ReconError("No pictures were found; name picture files or folders of them.")
    return found


def measure(picture: Picture, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """What is claimed of one picture, or of a set.

    Parameters
    ----------
    picture : Picture
    stocks : dict of Stock
        The stock list to read with.

    Returns
    -------
    dict
        `picture`, `photos`; `members` that are claimed, `sure` of them, `confidence` of the surest;
        `refused`, the sentence, or None; `loaded`, False where the file itself is refused; `cpu_s`.
    """
    from recon import solve

    row: dict[str, Any] = {
        "picture": picture.name,
        "photos": len(picture.files),
        "members": 0,
        "sure": 0,
        "confidence": 0.0,
        "refused": None,
        "loaded": False,
    }
    start = time.process_time()
    try:
        photos = [load_photo(file) for file in picture.files]
        row["loaded"] = True
        frame = frame_to_dict(solve.read(photos, stocks=stocks).frame)
    except ReconError as error:
        row["refused"] = str(error)
    else:
        confidence = [m["confidence"] for m in frame["members"]]
        row |= {"members": len(confidence), "sure": sum(c >= SURE for c in confidence)}
        row["confidence"] = max(confidence, default=0.0)
    return row | {"cpu_s": time.process_time() - start}


def line(row: Mapping[str, Any]) -> str:
    """One picture's figures.

    Examples
    --------
    >>> from recon.bench.nothing import line
    >>> line({"picture": "a.png", "refused": None, "members": 3, "sure": 1, "confidence": 0.95, "cpu_s": 2.0})
    'a.png: 3 members claimed, 1 of them sure (up to 0.95), 2.0 s CPU'
    """
    if row["refused"]:
        return f"{row['picture']}: refused, {row['cpu_s']:.1f} s CPU: {row['refused']}"
    return (
        f"{row['picture']}: {row['members']} members claimed, {row['sure']} of them sure "
        f"(up to {row['confidence']:.2f}), {row['cpu_s']:.1f} s CPU"
    )


def sentence_of(row: Mapping[str, Any]) -> str:
    """The sentence of a refusal without what is this picture's own: its name, and numbers.

    Examples
    --------
    >>> from recon.bench.nothing import sentence_of
    >>> sentence_of({"picture": "walls/a1.png", "refused": "No frame (a1.png: 12 rows, 3.5 px)."})
    'No frame (PHOTO: N rows, N px).'
    """
    text = _FILE_NAME.sub("PHOTO", row["refused"])
    return re.sub(r"\d+(?:\.\d+)?", "N", text)


def totals(rows: Sequence[Mapping[str, Any]]) -> str:
    """The sums over all pictures that could be loaded, and the sentences of refusal, the commonest first."""
    seen = [row for row in rows if row["loaded"]]
    refused = Counter(sentence_of(row) for row in seen if row["refused"])
    out = [f"\n{len(seen)} pictures without a frame ({len(rows) - len(seen)} more could not be loaded)"]
    for what, key in (("false frames", "members"), ("false frames with a member called sure", "sure")):
        count = sum(row[key] > 0 for row in seen)
        out.append(f"  {what}: {count} ({share(count, len(seen))}), members: {sum(row[key] for row in seen)}")
    out.append(f"  refused: {refused.total()}")
    out += [f"    {n} x {sentence}" for sentence, n in refused.most_common()]
    out.append(f"  {sum(row['cpu_s'] for row in rows):.0f} s CPU")
    return "\n".join(out)
