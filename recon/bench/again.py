"""What corrections are worth: read, put some wrong members right, read again around them.

    python -m recon.bench again FOLDER [FOLDER ...] [--photos 3 1] [--seed N]

A FOLDER is one frame (photo_1.jpg ..., truth.json as sample_images has it) or holds several.  Of the members that
were read wrong some are put right as a person would (in an order drawn by lot), and the photos are read again around
them.  Told are the members that this won and lost beyond those put right, words that were undone (must be 0), what
the photos object to, and the time over that of the first reading.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from recon.bench.reading import frames_in
from recon.errors import ReconError
from recon.frame.lattice import align, overlap, transform
from recon.frame.model import Frame, Member
from recon.frame.stock import load_stocks
from recon.image.photos import load_photo

CORRECTED = (1, 2, 3)


def run(args) -> int:
    parser = argparse.ArgumentParser(prog="python -m recon.bench again", description=__doc__.splitlines()[0])
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


def measure(folder: Path, n: int, seed: int = 0) -> list[dict]:
    """One row for each number of corrections."""
    from recon import solve
    from recon.solve.priors.constraints import Constraints

    stocks, detected = load_stocks(), {}
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
        frame, ends, gone = corrected(first, todo[:count])
        start = time.perf_counter()
        got = solve.read(photos, stocks=stocks, detected=detected, constraints=Constraints(frame, ends, gone))
        seconds = time.perf_counter() - start
        before, after, want = _keys(frame.members), _keys(got.frame.members), _keys(true.members)
        said = _keys(frame.member(id) for id in ends)
        rows.append(
            {
                "frame": folder.name,
                "wrong": len(todo),
                "corrected": count,
                "won": len((after & want) - before),
                "lost": len((before & want) - after),
                "undone": len(said - after) + len(_keys(gone) & after),
                "edits_before": _edits(before, want),
                "edits_after": _edits(after, want),
                "objections": len(got.against),
                "time": seconds / first_s,
            }
        )
        print(
            "{frame}: {wrong} to correct, {corrected} corrected: {won} won, {lost} lost, {undone} undone; left {edits_before} -> {edits_after}; "
            "{objections} objections; {time:.2f} of the first reading's time".format(**rows[-1]),
            flush=True,
        )
    return rows


def _true_frame(truth) -> Frame:
    width = truth["width_mm"] / truth["pitch_mm"]
    unit = np.eye(3)
    members = [
        Member(f"T{i}", tuple(map(float, s["at"])), tuple(unit[s["axis"]]), s["holes"], width)
        for i, s in enumerate(truth["sticks"])
    ]
    for s in truth.get("braces", []):
        d = np.array(s["direction"], float)
        members.append(
            Member(
                f"T{len(members)}",
                tuple(map(float, s["first"])),
                tuple(d / np.linalg.norm(d)),
                s["holes"],
                width,
                on_lattice=False,
            )
        )
    return Frame(tuple(members))


def corrections(read: Frame, true: Frame) -> list[tuple]:
    """What a person would do: (member read, true member), either None; a wrong member is put right, not replaced."""
    want = list(true.members)
    have = []
    for m in read.members:
        same = next((t for t in want if _key(t) == _key(m)), None)
        if same is None:
            have.append(m)
        else:
            want.remove(same)
    todo = []
    for m in have:
        meant = max(want, key=lambda t: overlap(t, m), default=None)
        if meant is not None and overlap(meant, m) > 0:
            want.remove(meant)
            todo.append((m, meant))
        else:
            todo.append((m, None))
    return todo + [(None, t) for t in want]


def corrected(frame: Frame, todo) -> tuple[Frame, dict, tuple[Member, ...]]:
    """The frame after the corrections, the ends that are a person's word, and the members that he took away."""
    members = {m.id: m for m in frame.members}
    ends, gone = {}, []
    for m, t in todo:
        if t is None:
            gone.append(members.pop(m.id))
            continue
        id = m.id if m else t.id
        like = m or frame.members[0]
        members[id] = replace(t, id=id, stock=like.stock, width=like.width)
        ends[id] = (True, True)
    return replace(frame, members=tuple(members.values()), joints=()), ends, tuple(gone)


def _key(m) -> frozenset:
    return frozenset(tuple(np.round(np.asarray(p, float), 1) + 0.0) for p in (m.first, m.last))


def _keys(members) -> set:
    return {_key(m) for m in members}


def _edits(have: set, want: set) -> int:
    """Members that are not true or missing, a wrong one counted once."""
    return max(len(have - want), len(want - have))


def print_totals(rows, n: int) -> None:
    if not rows:
        print(f"{n} photos: nothing to correct")
        return
    print(f"\n{n} photos, corrections of {len({r['frame'] for r in rows})} frames that need any:")
    for count in CORRECTED:
        of = [r for r in rows if r["corrected"] == count]
        if of:
            total = {
                k: sum(r[k] for r in of)
                for k in ("won", "lost", "undone", "edits_before", "edits_after", "objections")
            }
            print(
                f"  {count} corrected ({len(of)} frames): left to correct {total['edits_before']} -> {total['edits_after']} "
                f"(won {total['won']}, lost {total['lost']}), undone {total['undone']}, objections {total['objections']}, "
                f"time {np.median([r['time'] for r in of]):.2f} of the first reading's (median)"
            )
    print()
