"""What corrections are worth: read, put some wrong members right, read again around them.

    python -m recon.bench again FOLDER [FOLDER ...] [--photos 3 1] [--seed N]

A FOLDER is one frame (photo_1.jpg ..., truth.json as sample_images has it) or holds several.  Of the members
that were read wrong some are corrected as a person would (in an order drawn by lot), and the photos are read
again around them.  The table shows the members that this won and lost beyond those corrected, corrections
that were undone (must be 0), what the photos object to, and the time over that of the first reading.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from recon.bench.reading import frames_in
from recon.errors import ReconError
from recon.frame.lattice import align, overlap, transform
from recon.frame.model import Frame, Member, as_tuple
from recon.frame.stock import load_stocks
from recon.image.photos import load_photo

CORRECTED = (1, 2, 3)

LINE = (
    "{frame}: {wrong} to correct, {corrected} corrected: {won} won, {lost} lost, {undone} undone; "
    "left {edits_before} -> {edits_after}; {objections} objections; {time:.2f} of the first reading's time"
)
TOTALS = (
    "  {count} corrected ({frames} frames): left to correct {edits_before} -> {edits_after} "
    "(won {won}, lost {lost}), undone {undone}, objections {objections}, "
    "time {time:.2f} of the first reading's (median)"
)

Correction: TypeAlias = tuple[Member | None, Member | None]  # the member read and the true one
Place: TypeAlias = frozenset[tuple[float, ...]]  # both end holes of a member


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench again", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--photos", nargs="+", type=int, default=[3, 1], help="how many of each frame's photos to use"
    )
    parser.add_argument("--seed", type=int, default=0, help="for the order of the corrections")
    opts = parser.parse_args(args)
    frames = frames_in(opts.folders)
    for n in opts.photos:
        rows = []
        for folder in frames:
            rows += measure(folder, n, opts.seed)
        print_totals(rows, n)
    return 0


def measure(folder: Path, n: int, seed: int = 0) -> list[dict[str, Any]]:
    """Read a frame from its first n photos, then again around corrections.

    One row for each number of them.
    """
    from recon import solve
    from recon.solve.priors.constraints import Constraints

    stocks, detected = load_stocks(), dict[str, Any]()
    truth = json.loads((folder / "truth.json").read_text())
    photos = [load_photo(folder / p["file"]) for p in truth["photos"][:n]]
    start = time.perf_counter()
    try:
        first = solve.read(photos, stocks=stocks, detected=detected).frame
    except ReconError as error:
        print(f"{folder.name}, {n} photos: {error}")
        return []
    first_s = time.perf_counter() - start
    true = _true_frame(truth)
    laid = align(true, first)
    if laid is None:
        print(f"{folder.name}, {n} photos: nothing of it lies on the truth")
        return []
    true = transform(true, laid.turn, laid.shift)
    todo = corrections(first, true)
    np.random.default_rng(seed).shuffle(todo)
    rows = []
    for count in sorted({min(c, len(todo)) for c in CORRECTED} - {0}):
        frame, fixed, deleted = corrected(first, todo[:count])
        start = time.perf_counter()
        got = solve.read(
            photos, stocks=stocks, detected=detected, constraints=Constraints(frame, fixed, deleted)
        )
        seconds = time.perf_counter() - start
        rows.append(
            {"frame": folder.name, "wrong": len(todo), "corrected": count}
            | compare(frame, got.frame, true, fixed, deleted)
            | {"objections": len(got.against), "time": seconds / first_s}
        )
        print(LINE.format(**rows[-1]), flush=True)
    return rows


def compare(
    before: Frame, after: Frame, true: Frame, fixed: Iterable[str], deleted: Iterable[Member]
) -> dict[str, int]:
    """What a reading around corrections won, lost and undid, and the edits left before and after it."""
    had, has, want = _places(before.members), _places(after.members), _places(true.members)
    fixed_places = _places(before.member(id) for id in fixed)
    return {
        "won": len((has & want) - had),
        "lost": len((had & want) - has),
        "undone": len(fixed_places - has) + len(_places(deleted) & has),
        "edits_before": _edits(had, want),
        "edits_after": _edits(has, want),
    }


def _true_frame(truth: Mapping[str, Any]) -> Frame:
    """The frame of a truth file, without joints."""
    width = truth["width_mm"] / truth["pitch_mm"]
    unit = np.eye(3)
    members = [
        Member(f"T{i}", as_tuple(s["at"]), as_tuple(unit[s["axis"]]), s["holes"], width)
        for i, s in enumerate(truth["sticks"])
    ]
    for s in truth.get("braces", []):
        d = np.array(s["direction"], float)
        members.append(
            Member(
                f"T{len(members)}",
                as_tuple(s["first"]),
                as_tuple(d / np.linalg.norm(d)),
                s["holes"],
                width,
                on_lattice=False,
            )
        )
    return Frame(tuple(members))


def corrections(read: Frame, true: Frame) -> list[Correction]:
    """What a person would correct: a wrong member is changed, not replaced.

    Parameters
    ----------
    read, true : Frame
        In the same place.

    Returns
    -------
    list of (member read, true member)
        The first is None for a member that is missing, the second for one that is not there.

    Examples
    --------
    >>> from recon.bench.again import corrections
    >>> from recon.frame.model import Frame, Member
    >>> short, true = (Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), n) for n in (5, 7))
    >>> [(m.holes, t.holes) for m, t in corrections(Frame((short,)), Frame((true,)))]
    [(5, 7)]
    """
    want = list(true.members)
    have = []
    for m in read.members:
        same = next((t for t in want if _place(t) == _place(m)), None)
        if same is None:
            have.append(m)
        else:
            want.remove(same)
    todo: list[Correction] = []
    for m in have:
        meant = max(want, key=lambda t: overlap(t, m), default=None)
        if meant is not None and overlap(meant, m) > 0:
            want.remove(meant)
            todo.append((m, meant))
        else:
            todo.append((m, None))
    return todo + [(None, t) for t in want]


def corrected(
    frame: Frame, todo: Iterable[Correction]
) -> tuple[Frame, dict[str, tuple[bool, bool]], tuple[Member, ...]]:
    """The frame after the corrections, the ends that they fix by member, and the members that they delete."""
    members = {m.id: m for m in frame.members}
    fixed: dict[str, tuple[bool, bool]] = {}
    deleted = []
    for m, t in todo:
        if t is None:
            if m:
                deleted.append(members.pop(m.id))
            continue
        id = m.id if m else t.id
        like = m or frame.members[0]
        members[id] = replace(t, id=id, stock=like.stock, width=like.width)
        fixed[id] = (True, True)
    return replace(frame, members=tuple(members.values()), joints=()), fixed, tuple(deleted)


def _place(m: Member) -> Place:
    """Where a member is, counted from either end."""
    return frozenset(tuple(np.round(np.asarray(p, float), 1) + 0.0) for p in (m.first, m.last))


def _places(members: Iterable[Member]) -> set[Place]:
    return {_place(m) for m in members}


def _edits(have: set[Place], want: set[Place]) -> int:
    """Members that are not true or missing, a wrong one counted once."""
    return max(len(have - want), len(want - have))


def print_totals(rows: Sequence[Mapping[str, Any]], n: int) -> None:
    """Print the sums over all frames, for each number of corrections."""
    if not rows:
        print(f"{n} photos: nothing to correct")
        return
    print(f"\n{n} photos, corrections of {len({r['frame'] for r in rows})} frames that need any:")
    for count in CORRECTED:
        of = [r for r in rows if r["corrected"] == count]
        if of:
            names = ("won", "lost", "undone", "edits_before", "edits_after", "objections")
            total = {name: sum(r[name] for r in of) for name in names}
            median = float(np.median([r["time"] for r in of]))
            print(TOTALS.format(count=count, frames=len(of), time=median, **total))
    print()
