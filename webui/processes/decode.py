"""Photos decoded for looking, in a process of their own with limits.

`python -m webui.processes.decode quick|full PHOTO FOLDER ...`: a damaged or hostile file can at worst end
this process. In FOLDER come `whole.jpg` (the photo, at most LOOK px on its long side), for `full` also tiles
`Z/X_Y.jpg` of TILE px (Z = 0: every pixel; each Z halves) and `size.json`.  For each photo a JSON line on
stdout: {"photo", "size"} or {"photo", "problem"}.  `quick` leaves the size in `upright.json`.
"""

from __future__ import annotations

import io
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from recon import limits

if TYPE_CHECKING:
    from PIL import Image

LOOK, TILE, QUALITY = 1280, 512, 85
MEMORY = 3 * 2**30  # bytes: 60 MP as float32 and colour, twice over
UPRIGHT = "upright.json"  # the photo's size, px, before there are levels
CPU_S = 120  # seconds for one photo
FILE = 512 * 2**20  # largest file that may be written


def limit() -> None:
    """Limits this process: memory, processor time, size of files, no core dumps."""
    limits.limit(memory=MEMORY, cpu_s=CPU_S, file=FILE)


def quick(path: Path, folder: Path) -> tuple[int, int]:
    """`whole.jpg` and, before it, the photo's upright size, fast: a JPEG is decoded at a fraction of its
    size."""
    from PIL import Image, ImageOps

    if path.suffix.lower() in (".heic", ".heif", ".hif"):
        import pillow_heif

        pillow_heif.register_heif_opener()

    Image.MAX_IMAGE_PIXELS = 60_000_000
    with Image.open(
        path,
        formats=("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
        if "pillow_heif" in sys.modules
        else ("JPEG", "PNG", "WEBP", "TIFF"),
    ) as image:
        turned = image.getexif().get(0x0112, 1) in (5, 6, 7, 8)
        size = image.size[::-1] if turned else image.size
        image.draft("RGB", (LOOK, LOOK))
        small = ImageOps.exif_transpose(image).convert("RGB")
    small.thumbnail((LOOK, LOOK), reducing_gap=2)
    _write(folder / UPRIGHT, json.dumps({"size": list(size)}).encode())
    _save(small, folder / "whole.jpg")
    return size


def full(path: Path, folder: Path) -> tuple[int, int]:
    """The photo checked as the reader would, `whole.jpg`, all tiles and, last, `size.json`.

    Returns
    -------
    (width, height), px

    Raises
    ------
    ReconError
        Where it is no photo that can be read.
    """
    from PIL import Image

    from recon.image.photos import load_photo

    photo = load_photo(path)
    image, size = Image.fromarray(photo.colour), photo.size
    z, level = 0, image
    while max(level.size) > LOOK:
        (folder / str(z)).mkdir(parents=True, exist_ok=True)
        for y in range(0, level.height, TILE):
            for x in range(0, level.width, TILE):
                box = (x, y, min(x + TILE, level.width), min(y + TILE, level.height))
                _save(level.crop(box), folder / str(z) / f"{x // TILE}_{y // TILE}.jpg")
        z, level = z + 1, level.reduce(2)
    small = level if z else image
    _save(small, folder / "whole.jpg")
    known = {"size": list(size), "levels": z, "digest": photo.digest}
    if photo.timecode:
        known["timecode"] = asdict(photo.timecode)
    _write(folder / "size.json", json.dumps(known).encode())
    return size


def _save(image: Image.Image, path: Path) -> None:
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=QUALITY)
    _write(path, buffer.getvalue())


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all; not forced to the disk, since all of it can be made again."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(data)
    part.replace(path)


def main(argv: list[str]) -> int:
    """Decode pairs of PHOTO FOLDER; 0 also where some could not be: their lines say so."""
    from recon.errors import ReconError

    limit()
    make = {"quick": quick, "full": full}[argv[0]]
    for path, folder in zip(map(Path, argv[1::2]), map(Path, argv[2::2])):
        try:
            line = {"photo": path.name, "size": list(make(path, folder))}
        except ReconError as error:
            line = {"photo": path.name, "problem": str(error)}
        except Exception as error:  # decoders raise of every kind on hostile files
            line = {
                "photo": path.name,
                "problem": f"{path.name}: this is not a photo that can be read ({type(error).__name__}).",
            }
        print(json.dumps(line), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
