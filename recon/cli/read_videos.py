"""Videos among the photos of `recon read`: their chosen pictures are photos, kept beside the frame."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from recon.cli.console import say
from recon.errors import ReconError

if TYPE_CHECKING:
    pass

PHOTOS = "photos/"  # in the results' folder, as in a build of the page


def with_pictures(
    paths: Sequence[Path], folder: Path, out: str | None, progress: Callable[[str, float], object]
) -> tuple[list[Path], list[tuple[str, str]]]:
    """The photos among the paths and, in place of each video, the pictures chosen from it.

    Parameters
    ----------
    paths : sequence of Path
    folder : Path
        That the pictures are written into.
    out : str or None
        The results' folder: photos that it holds already keep their names.
    progress : callable
        Called with words and the share that is done.

    Returns
    -------
    paths : list of Path
    broken : list of (name, reason)
        Videos of which no picture could be used.
    """
    from recon.image.video.chosen import choose_pictures
    from recon.image.video.files import is_video

    videos = videos_of(paths)
    found: list[Path] = []
    broken: list[tuple[str, str]] = []
    there = Path(out or folder) / PHOTOS
    kept = is_picture_of(videos)
    taken = [p.name for p in there.iterdir() if not kept(p)] if there.is_dir() else []
    for path in paths:
        if not is_video(path):
            found.append(path)
            continue
        part = _part(progress, videos.index(path), len(videos))
        try:
            chosen = choose_pictures(path, folder, taken=taken, progress=part)
        except ReconError as error:
            broken.append((path.name, str(error).removeprefix(f"{path.name}: ")))
            continue
        found += chosen.paths
        say(chosen.note) if chosen.note else None
    return found, broken


def _part(progress: Callable[[str, float], object], k: int, count: int) -> Callable[[str, float], object]:
    """The progress of the k-th of several equal parts."""
    return lambda stage, share: progress(stage, (k + share) / count)


def videos_of(paths: Sequence[Path]) -> list[Path]:
    """The videos among some paths."""
    from recon.image.video.files import is_video

    return [path for path in paths if is_video(path)]


def is_picture_of(videos: Sequence[Path]) -> Callable[[Path], bool]:
    """Whether a file is a picture chosen from one of these videos: then the next choice may replace it."""
    from recon.image.photos import timecode_of
    from recon.image.timecode import Timecode

    names = {known.video for v in videos if (known := Timecode.from_text(Timecode(v.name, 0, 0.0).text()))}

    def is_one(path: Path) -> bool:
        timecode = timecode_of(path)
        return timecode is not None and timecode.video in names

    return is_one
