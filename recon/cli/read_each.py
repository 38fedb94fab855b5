"""`recon read --each`: every build in a folder by itself, several at a time, with one table at the end.

Each build is read by a process of its own, the same command without `--each`: what ends one, a fault or want
of memory, leaves the others alone.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import recon
from recon.cli.console import Progress
from recon.errors import ReconError
from recon.workers import processors

TABLE_FILE = "builds.csv"
COLUMNS = ("build", "members", "sure", "doubts", "photos", "seconds", "result")
PROCESSES = 2  # that read one build together: builds side by side make more of many processors
ALONE = ("rows", "length", "name", "debug")  # options that are of one build
READ, BEFORE = "read", "read before"


@dataclass(frozen=True)
class BuildRow:
    """What became of one build.

    Attributes
    ----------
    build : str
        The name of its folder.
    members, sure, doubts : int or None
        Of its frame; None where there is none.
    photos : str
        Used of given.
    seconds : float or None
        That it took; None where it was read before.
    result : str
        READ, BEFORE, or why there is no frame.
    """

    build: str
    members: int | None
    sure: int | None
    doubts: int | None
    photos: str
    seconds: float | None
    result: str


def read_each(args: argparse.Namespace, results: Sequence[str], default_out: str) -> int:
    """Run `recon read --each`; returns its exit code.

    Parameters
    ----------
    args : argparse.Namespace
        Of `recon read`.
    results : sequence of str
        What a reading leaves in its folder.
    default_out : str
        The folder for results where none is given.

    Raises
    ------
    ReconError
        Where an option is of one build alone, or no folder holds builds.
    """
    given = [name for name in ALONE if getattr(args, name)]
    if given:
        raise ReconError(
            f"--{given[0]} is of one build; leave it out with --each, or read the builds one by one."
        )
    out = Path(args.out or default_out)
    builds = find_builds(args.photos, out)
    rows: list[BuildRow] = []
    progress = Progress()
    for row in _rows(args, builds, out, results):
        rows.append(row)
        progress(f"{len(rows)} of {len(builds)} builds; the last was {row.build}", len(rows) / len(builds))
    progress.done()
    rows.sort(key=lambda row: list(builds).index(row.build))
    _write_table(out, rows)
    _print_table(args, out, rows)
    if not any(row.members is not None for row in rows):
        return 2
    return int(any(row.members is None or not _all_used(row) for row in rows))


def find_builds(folders: Sequence[str], out: Path) -> dict[str, Path]:
    """Folders with photos in the folders named, by name and in natural order; the results' folder is none.

    A build of the page has its photos in a folder of its own, `photos`.

    Raises
    ------
    ReconError
        Where a folder is none, there is no build in it, or two builds have one name.
    """
    from recon.image.photos import natural_key

    found: dict[str, Path] = {}
    for name in folders:
        folder = Path(name)
        if not folder.is_dir():
            raise ReconError(f"{folder}: this is no folder; with --each name folders that hold builds.")
        inside = (p for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))
        for path in sorted(inside, key=natural_key):
            photos = next((p for p in (path / "photos", path) if _has_photos(p)), None)
            if photos is None or path.resolve() == out.resolve():
                continue
            if path.name in found:
                raise ReconError(f"{path}: there are two builds of this name; give one of them another.")
            found[path.name] = photos
    if not found:
        raise ReconError(
            f"{', '.join(folders)}: no folder in it holds photos; with --each every build has a folder of "
            "its own."
        )
    return found


def _has_photos(folder: Path) -> bool:
    from recon.image.photos import SUFFIXES
    from recon.image.video.files import SUFFIXES as VIDEO_SUFFIXES

    suffixes = SUFFIXES | VIDEO_SUFFIXES
    return folder.is_dir() and any(
        p.suffix.lower() in suffixes and p.is_file() and not p.name.startswith(".") for p in folder.iterdir()
    )


def _rows(
    args: argparse.Namespace, builds: Mapping[str, Path], out: Path, results: Sequence[str]
) -> Iterator[BuildRow]:
    """What becomes of each build, in the order in which they are done."""
    from recon.files import try_folder

    try_folder(out)
    running: dict[str, subprocess.Popen[str]] = {}

    def one(name: str) -> BuildRow:
        if not args.overwrite and any(os.path.lexists(out / name / result.rstrip("/")) for result in results):
            return _row_of_before(name, out / name)
        began = time.monotonic()
        process = running[name] = subprocess.Popen(
            _command(args, builds[name], out / name),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": _python_path()},
        )
        said, problems = process.communicate()
        del running[name]
        return _row(name, said, problems, process.returncode, time.monotonic() - began)

    pool = ThreadPoolExecutor(args.jobs or max(1, processors() // (args.processes or PROCESSES)))
    try:
        yield from _as_done(pool, one, builds)
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in list(running.values()):
            process.terminate()  # each clears away what it has not completed


def _as_done(pool: ThreadPoolExecutor, one: Any, names: Mapping[str, Path]) -> Iterator[BuildRow]:
    from concurrent.futures import as_completed

    for future in as_completed([pool.submit(one, name) for name in names]):
        yield future.result()


def _command(args: argparse.Namespace, photos: Path, out: Path) -> list[str]:
    command = [sys.executable, "-m", "recon", "read", str(photos.resolve()), "-o", str(out.resolve())]
    command += ["--json", "--name", out.name[:200], *(["--overwrite"] if args.overwrite else [])]
    command += ["--processes", str(args.processes or PROCESSES)]
    for name in ("stock", "stocks"):
        command += [f"--{name}", getattr(args, name)] if getattr(args, name) else []
    return command


def _python_path() -> str:
    """Where this very program is, before what the environment names."""
    here = str(Path(recon.__file__).parents[1])
    return os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH")])])


def _row(name: str, said: str, problems: str, code: int, seconds: float) -> BuildRow:
    """The row of a build from what its process said."""
    try:
        answer = json.loads(said)
    except ValueError:
        answer = {}
    if "frame" in answer:
        return _row_of_frame(name, answer["frame"], round(seconds, 1), READ)
    lines = problems.strip().splitlines()
    why = answer.get("error") or (lines[-1] if lines else "")
    if code < 0:
        why = f"it was ended by the system (signal {-code}), most likely for want of memory"
    return BuildRow(name, None, None, None, "", round(seconds, 1), why or f"it ended with exit code {code}")


def _row_of_before(name: str, folder: Path) -> BuildRow:
    """The row of a build that has results."""
    from recon.frame.files import frame_to_dict, load_frame

    try:
        return _row_of_frame(name, frame_to_dict(load_frame(folder / "frame.json")), None, BEFORE)
    except ReconError:
        why = "no frame was read from it before; --overwrite tries again"
        return BuildRow(name, None, None, None, "", None, why)


def _row_of_frame(name: str, frame: Mapping[str, Any], seconds: float | None, result: str) -> BuildRow:
    from recon.frame.confidence import SURE

    sure = sum(member["confidence"] >= SURE for member in frame["members"])
    used = sum(photo["used"] for photo in frame["photos"])
    photos = f"{used} of {len(frame['photos'])}"
    return BuildRow(name, len(frame["members"]), sure, len(frame["doubts"]), photos, seconds, result)


def _all_used(row: BuildRow) -> bool:
    used, _, given = row.photos.partition(" of ")
    return used == given


def _cells(row: BuildRow) -> list[str]:
    return ["" if value is None else str(value) for value in asdict(row).values()]


def _write_table(out: Path, rows: Sequence[BuildRow]) -> None:
    from recon.files import write_text_atomic
    from recon.workshop.formats import csv_text

    out.mkdir(parents=True, exist_ok=True)
    write_text_atomic(out / TABLE_FILE, csv_text(COLUMNS, map(_cells, rows)))


def _print_table(args: argparse.Namespace, out: Path, rows: Sequence[BuildRow]) -> None:
    from recon.workshop.formats import text_table

    if args.json:
        print(json.dumps({"builds": [asdict(row) for row in rows], "files": [str(out / TABLE_FILE)]}))
        return
    print(text_table(COLUMNS, [_cells(row) for row in rows], numbers=(1, 2, 3, 5)))
    print(f"\nEach build's results are in a folder of its name in {out}, this table in {out / TABLE_FILE}.")
