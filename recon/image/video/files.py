"""Which files are videos, and what can be said of one before it is decoded."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from recon.errors import ReconError

# What phones and cameras write, and programs save.  FFmpeg, which OpenCV decodes with, knows many more, some
# of which lead to other files or addresses (lists of pieces to play): none of those is let in.
SUFFIXES = {".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".m2ts", ".ts", ".mpg", ".mpeg"}
FORMATS_TEXT = "MP4, MOV, MKV, WebM, AVI or MPEG"
# A minute of a phone's largest pictures (3840 x 2160, 60 a second) is 400 to 900 MB.  From memory.
MOST_BYTES = 2 * 2**30
_HEAD = 400  # bytes that tell what a file is
# Types of the box that an ISO base media file begins with (ISO/IEC 14496-12; the others than ftyp: QuickTime
# File Format Specification, from memory).
_BOXES = (b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot")
_PACKET, _CLOCKED_PACKET = (
    188,
    192,
)  # bytes of a packet of MPEG-TS (ITU-T H.222.0), of one with a clock before it


def is_video(path: str | Path) -> bool:
    """Whether a file is called as videos are.

    Examples
    --------
    >>> is_video("walk.MOV"), is_video("front.heic")
    (True, False)
    """
    return Path(path).suffix.lower() in SUFFIXES


def without_live_pictures(videos: Iterable[Path], photos: Iterable[Path]) -> list[Path]:
    """Videos of a folder that are no phone's seconds round a photo: those have the photo's own name.

    Examples
    --------
    >>> without_live_pictures([Path("a.mov"), Path("walk.mov")], [Path("A.heic")])
    [PosixPath('walk.mov')]
    """
    stems = {path.stem.casefold() for path in photos}
    return [path for path in videos if path.stem.casefold() not in stems]


def check_file(path: Path) -> None:
    """Refuse what is no video that is read here, by its size and its first bytes.

    Raises
    ------
    ReconError
        Naming the file and the remedy.
    """
    try:
        if not path.is_file():
            raise ReconError(f"{path}: there is no such file; check the name.")
        size = path.stat().st_size
        with open(path, "rb") as file:
            head = file.read(_HEAD)
    except OSError as error:
        raise ReconError(f"{path}: cannot be read ({error.strerror}); check its permissions.") from error
    name = path.name
    if size == 0:
        raise ReconError(f"{name}: the file is empty (0 bytes); copy it from the camera again.")
    if size > MOST_BYTES:
        raise ReconError(
            f"{name}: the video has {size / 2**30:.1f} GB, more than the {MOST_BYTES >> 30} GB that are "
            "read; cut it, or save it smaller."
        )
    if not _is_container(head):
        raise ReconError(
            f"{name}: this is not a video that can be read, or its beginning is damaged; use {FORMATS_TEXT}, "
            "or copy it again."
        )
    if head[4:8] in _BOXES and not _has_index(path, size):
        raise ReconError(
            f"{name}: the video has no index: it was cut short while it was taken or copied. "
            "Copy it from the camera again."
        )


def _is_container(head: bytes) -> bool:
    """Whether bytes begin a file of one of the formats."""
    if head[4:8] in _BOXES or head[:4] == b"\x1aE\xdf\xa3":  # Matroska and WebM: EBML's magic (RFC 8794)
        return True
    if (head[:4] == b"RIFF" and head[8:12] == b"AVI ") or head[:4] == b"\0\0\1\xba":  # MPEG program stream
        return True
    return any(
        len(head) > start + size and head[start] == head[start + size] == 0x47
        for start, size in ((0, _PACKET), (_CLOCKED_PACKET - _PACKET, _CLOCKED_PACKET))
    )


def _has_index(path: Path, size: int) -> bool:
    """Whether an ISO base media file has its index, the box `moov`: without it nothing can be decoded."""
    at = 0
    with open(path, "rb") as file:
        for _ in range(10_000):  # boxes at the top; a whole file has a few, one in pieces some hundred
            file.seek(at)
            head = file.read(16)
            if len(head) < 8:
                return False
            length, kind = int.from_bytes(head[:4], "big"), head[4:8]
            if kind == b"moov":
                return length <= size - at
            if length == 1:
                length = int.from_bytes(head[8:16], "big")
            if length < 8:  # 0: up to the end of the file
                return False
            at += length
    return False
