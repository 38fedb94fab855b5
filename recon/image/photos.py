"""Photographs from files: found, checked, decoded and turned upright."""

import hashlib
import re
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps

from recon.errors import ReconError
from recon.image.timecode import MADE_BY, Timecode
from recon.image.video.files import FORMATS_TEXT as VIDEO_FORMATS_TEXT
from recon.image.video.files import SUFFIXES as VIDEO_SUFFIXES
from recon.image.video.files import without_live_pictures

pillow_heif.register_heif_opener()

# What phones and cameras write. Pillow knows many more formats; each one less is one less way in for a
# hostile file.
# JPEG covers MPO, a JPEG with further pictures behind it (portrait mode, burst).
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
SUFFIXES = {
    ".jpg",
    ".jpeg",
    ".jpe",
    ".jfif",
    ".mpo",
    ".png",
    ".webp",
    ".tif",
    ".tiff",
    ".heic",
    ".heif",
    ".hif",
}
FORMATS_TEXT = "JPEG, PNG, WebP, TIFF or HEIC"

MAX_PIXELS = 60_000_000  # a "50 MP" phone writes up to 8192 x 6144 = 50.3 MP
# Pictures from the web come this small; a row of 25 openings of 3 px at least has room in them.
MIN_LONG_SIDE = 300
MIN_SIDE = 150  # a strip is not a photograph of a frame; this project's choice

# Diagonal of the 36 x 24 mm film frame. The 35 mm-equivalent focal length (Exif tag 0xA405, CIPA DC-008)
# compares angles of view across the diagonal, because that is what stays comparable between 4:3 sensors and
# 3:2 film. That it is the diagonal: CIPA DCG-001, from memory.
DIAGONAL_35_MM = float(np.hypot(36.0, 24.0))
# Shorter is a fisheye, which the radial lens model does not describe; longer leaves no perspective to read.
F35_RANGE_MM = (10.0, 300.0)


@dataclass(frozen=True, eq=False)
class PhotoImage:
    """One decoded photograph, upright.

    Attributes
    ----------
    path : Path
    name : str
        What the photo is called; one name stands for one photo.
    colour : (H, W, 3) uint8 array
        Red first; embedded colour profiles are not applied.
    size : tuple of int
        Width and height, px.
    f35_mm : float or None
        35 mm-equivalent focal length, mm; None where the file does not say.
    focal_prior_px : float or None
        The same in px of this image.
    digest : str
        Names the decoded pixels.
    timecode : Timecode or None
        Where it is a picture of a video: of which, and from when in it.
    """

    path: Path
    name: str
    colour: NDArray[np.uint8]
    size: tuple[int, int]
    f35_mm: float | None
    focal_prior_px: float | None
    digest: str
    timecode: Timecode | None = None

    @property
    def grey(self) -> NDArray[np.float32]:
        """(H, W) luma (Rec. 601 weights) of the gamma-coded values, 0..1; made anew each time.

        It is not linearised: in gamma-coded values a step of equal visibility has about equal size in the sun
        and in the shade.
        """
        grey = cv2.cvtColor(self.colour, cv2.COLOR_RGB2GRAY).astype(np.float32)
        grey *= np.float32(1 / 255)
        return grey


def natural_key(path: Path) -> list[int | str]:
    """Sort key that puts photo_2 before photo_10.

    Examples
    --------
    >>> [path.name for path in sorted(map(Path, ["photo_10.jpg", "photo_2.jpg"]), key=natural_key)]
    ['photo_2.jpg', 'photo_10.jpg']
    """
    return [int(part) if part.isdigit() else part.casefold() for part in re.split(r"(\d+)", path.name)]


def find_photos(paths: Iterable[str | Path], videos: bool = False) -> list[Path]:
    """Files named or, for each folder named, the photos in it.

    In folders photos are known by suffix, and come in natural order; folders below are not looked into. A
    file named outright is kept whatever its suffix: `load_photo` judges it by its contents.

    Parameters
    ----------
    paths : iterable of str or Path
    videos : bool
        Whether videos in folders are given, too, after the photos.

    Raises
    ------
    ReconError
        Where a path does not exist, a folder cannot be read or holds no photo, or no path was given.
    """
    found: list[Path] = []
    for path in map(Path, paths):
        try:
            is_folder = path.is_dir()
            if not is_folder and not path.exists():
                raise ReconError(f"{path}: there is no such file or folder; check the name.")
            if not is_folder:
                found.append(path)
                continue
            inside = [p for p in path.iterdir() if not p.name.startswith(".")]
            photos = _with_suffix(inside, SUFFIXES)
            walks = without_live_pictures(_with_suffix(inside, VIDEO_SUFFIXES), photos) if videos else []
        except OSError as error:
            raise ReconError(f"{path}: cannot be read ({error.strerror}); check its permissions.") from error
        if not photos and not walks:
            below = sorted(p.name for p in inside if p.is_dir())
            hint = (
                f" Photos in the folders below it ({', '.join(below[:3])}) are not taken: name those."
                if below
                else ""
            )
            nor = f" and no videos ({VIDEO_FORMATS_TEXT})" if videos else ""
            raise ReconError(f"{path}: this folder holds no photos ({FORMATS_TEXT}){nor}.{hint}")
        found += [*sorted(photos, key=natural_key), *sorted(walks, key=natural_key)]
    if not found:
        raise ReconError(f"No photos were given: name photo files ({FORMATS_TEXT}) or a folder of them.")
    return found


def _with_suffix(paths: Sequence[Path], suffixes: set[str]) -> list[Path]:
    return [p for p in paths if p.suffix.lower() in suffixes and p.is_file()]


def _megapixels(pixels: int) -> str:
    return f"{pixels / 1e6:.1f} MP" if pixels < 10e6 else f"{pixels / 1e6:.0f} MP"


def _check_size(name: str, size: tuple[int, int], max_pixels: int) -> None:
    width, height = size
    if width * height > max_pixels:
        raise ReconError(
            f"{name}: it says it is {width} x {height} px ({_megapixels(width * height)}), more than the "
            f"{_megapixels(max_pixels)} that are read; save a smaller copy."
        )
    if max(size) < MIN_LONG_SIDE or min(size) < MIN_SIDE:
        raise ReconError(
            f"{name}: {width} x {height} px is too small to see holes in; use the original photo, at least "
            f"{MIN_LONG_SIDE} px long and {MIN_SIDE} px wide."
        )


def _check_file(path: Path) -> None:
    try:
        if path.is_dir():
            raise ReconError(f"{path}: this is a folder, not a photo.")
        if not path.exists():
            raise ReconError(f"{path}: there is no such file; check the name.")
        if not path.is_file():
            raise ReconError(f"{path}: this is not a file.")
        if path.stat().st_size == 0:
            raise ReconError(f"{path.name}: the file is empty (0 bytes); copy it from the camera again.")
        path.open("rb").close()
    except OSError as error:
        raise ReconError(f"{path}: cannot be read ({error.strerror}); check its permissions.") from error


def _rgb(image: Image.Image) -> Image.Image:
    return image if image.mode == "RGB" else image.convert("RGB")


def _composited(image: Image.Image) -> Image.Image:
    """RGB of an image with alpha, over mid grey: neither as dark as a hole nor as light as a lit one."""
    rgba = image.convert("RGBA")
    ground = Image.new("RGBA", rgba.size, (128, 128, 128, 255))
    return _rgb(Image.alpha_composite(ground, rgba))


def _deep_grey(image: Image.Image) -> NDArray[np.float32]:
    """(H, W) float32 0..1 of a 16-bit, 32-bit or float grey image."""
    values = np.nan_to_num(np.asarray(image, dtype=np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(values.max(initial=0.0))
    # Sensors store 10, 12 or 14 bits in 16; the least depth that holds the brightest value is taken as white.
    white = next((w for w in (1.0, 255.0, 1023.0, 4095.0, 16383.0, 65535.0) if top <= w), top)
    if image.mode.startswith("I") and white < 1023.0:
        white = 1023.0
    return np.clip(values / white, 0.0, 1.0)


def _colours(image: Image.Image) -> NDArray[np.uint8]:
    """(H, W, 3) red, green and blue of an upright, loaded image of any mode."""
    if image.mode == "F" or image.mode.startswith("I"):
        return np.repeat(np.rint(_deep_grey(image) * 255).astype(np.uint8)[:, :, None], 3, axis=2)
    has_alpha = image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info
    return np.array(_composited(image) if has_alpha else _rgb(image))


def _positive(value: Any) -> float | None:
    """An Exif number as a positive float, or None: files hold 0, 0/0 and text in these places."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def focal_35mm(tags: Mapping[int, Any], size: tuple[int, int]) -> float | None:
    """35 mm-equivalent focal length in mm, or None where it is absent or not believable.

    Parameters
    ----------
    tags : mapping
        The Exif IFD: tag number -> value.
    size : tuple of int
        Width and height of the image, px.

    Notes
    -----
    Where the tag itself is missing, focal length times the sensor's pixels per mm (FocalPlaneXResolution)
    serves. A photo whose proportions differ from those that the camera wrote was cropped: its angle of view
    is not known.
    """
    base = ExifTags.Base
    wide, high = _positive(tags.get(base.ExifImageWidth)), _positive(tags.get(base.ExifImageHeight))
    if wide and high:
        was, now = max(wide, high) / min(wide, high), max(size) / min(size)
        if abs(was / now - 1) > 0.02:  # rounding of a scaled copy stays below this from 0.3 MP on
            return None
    f35 = _positive(tags.get(base.FocalLengthIn35mmFilm))
    if f35 is None:
        f_mm, per_unit = (
            _positive(tags.get(base.FocalLength)),
            _positive(tags.get(base.FocalPlaneXResolution)),
        )
        unit_mm = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}.get(tags.get(base.FocalPlaneResolutionUnit, 2))
        if f_mm is None or per_unit is None or unit_mm is None:
            return None
        f35 = f_mm * per_unit / unit_mm / np.hypot(wide or size[0], high or size[1]) * DIAGONAL_35_MM
    return float(f35) if F35_RANGE_MM[0] <= f35 <= F35_RANGE_MM[1] else None


def focal_px(f35_mm: float, size: tuple[int, int]) -> float:
    """Focal length in px of an image of this size (width, height) with this 35 mm-equivalent focal length.

    Examples
    --------
    >>> round(focal_px(26.0, (2000, 1500)), 1)
    1502.3
    """
    return float(f35_mm / DIAGONAL_35_MM * np.hypot(*size))


def _exif_tags(image: Image.Image) -> dict[int, Any]:
    try:
        return dict(image.getexif().get_ifd(ExifTags.IFD.Exif))
    except Exception:  # Exif is never needed; whatever a mangled block makes Pillow raise means "no Exif"
        return {}


def timecode_of(path: Path) -> Timecode | None:
    """From which video, and when in it, a photo's file says that it is; None for all other files."""
    try:
        with Image.open(path, formats=("JPEG",)) as image:
            return _timecode(image)
    except Exception:  # no JPEG, or a damaged one: then it is none
        return None


def _timecode(image: Image.Image) -> Timecode | None:
    try:
        tags = image.getexif()
        ours = tags.get(ExifTags.Base.Software) == MADE_BY
        return Timecode.from_text(tags.get(ExifTags.Base.ImageDescription)) if ours else None
    except Exception:  # as in _exif_tags
        return None


def _upright(image: Image.Image) -> Image.Image:
    try:
        orientation = image.getexif().get(ExifTags.Base.Orientation, 1)
    except Exception:  # as in _exif_tags
        return image
    return ImageOps.exif_transpose(image) if orientation in range(2, 9) else image


def load_photo(path: str | Path, max_pixels: int = MAX_PIXELS) -> PhotoImage:
    """Read one photo, upright by its Exif.

    JPEG, PNG, WebP, TIFF or HEIC; colour, grey, 16 bit, palette, CMYK or with alpha. The declared size is
    checked before any pixel is decoded, so a decompression bomb costs nothing.

    Raises
    ------
    ReconError
        Naming the file and the remedy, where it is missing, unreadable, empty, not a photo, damaged, too
        large (more than `max_pixels`) or too small.
    """
    path = Path(path)
    name = path.name
    _check_file(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of odd Exif and of sizes that are checked here
        try:
            image = Image.open(path, formats=FORMATS)
        except Image.DecompressionBombError as error:
            raise ReconError(
                f"{name}: it says it is far larger than the {_megapixels(max_pixels)} that are read; "
                "save a smaller copy."
            ) from error
        except Exception as error:  # a hostile header can make a decoder raise anything
            raise ReconError(
                f"{name}: this is not a photo that can be read, or its beginning is damaged; "
                f"use {FORMATS_TEXT}, or copy it again."
            ) from error
        with image:
            _check_size(name, image.size, max_pixels)
            try:
                image.load()
                tags, timecode = _exif_tags(image), _timecode(image)
                colour = _colours(_upright(image))
            except MemoryError as error:
                raise ReconError(
                    f"{name}: there is not enough memory to decode it; save a smaller copy."
                ) from error
            except Exception as error:  # as above
                raise ReconError(
                    f"{name}: the file is damaged or cut short and cannot be decoded; "
                    "copy it from the camera again."
                ) from error
    size = (colour.shape[1], colour.shape[0])
    f35 = focal_35mm(tags, size)
    digest = hashlib.blake2b(repr(size).encode(), digest_size=16)
    digest.update(np.ascontiguousarray(colour).data)
    prior = None if f35 is None else focal_px(f35, size)
    return PhotoImage(path, name, colour, size, f35, prior, digest.hexdigest(), timecode)


def _printable(name: str) -> str:
    """A file name that can be shown and saved: bytes that are no UTF-8 and control characters become '?'."""
    text = name.encode("utf-8", "replace").decode("utf-8")
    return "".join(c if c.isprintable() else "?" for c in text)


def load_photos(
    paths: Sequence[str | Path],
    max_pixels: int = MAX_PIXELS,
    progress: Callable[[str, float], None] | None = None,
) -> tuple[list[PhotoImage], list[tuple[str, str]]]:
    """Load each photo.

    Photos of the same name from two folders get their folder's name in front, so that a name stands for one
    photo.

    Parameters
    ----------
    paths : sequence of str or Path
    max_pixels : int
        Larger photos are not read.
    progress : callable, optional
        Gets words and the share that is done, 0..1.

    Returns
    -------
    photos : list of PhotoImage
    broken : list of (name, reason)
        Those that cannot be read; they do not keep the others from being read.
    """
    photos: list[PhotoImage] = []
    broken: list[tuple[str, str]] = []
    taken: set[str] = set()
    for k, path in enumerate(map(Path, paths)):
        if progress:
            progress(f"loading {path.name}", k / len(paths))
        try:
            photo = load_photo(path, max_pixels)
        except ReconError as error:
            reason = str(error).removeprefix(f"{path}: ").removeprefix(f"{path.name}: ")
            broken.append((_printable(path.name), reason))
            continue
        name = path.name if path.name not in taken else f"{path.resolve().parent.name}/{path.name}"
        name = _printable(name)
        base, again = name, 2
        while name in taken:
            name, again = f"{base} ({again})", again + 1
        taken.add(name)
        photos.append(replace(photo, name=name))
    return photos, broken
