"""Whether members called sure are right, and the curve that makes it so.

    python -m recon.bench confidence FOLDER [FOLDER ...] [--photos 3 2 1] [--save FILE] [--from FILE]

Frames with truth are read; every other one is for fitting, the rest for checking.  Printed are, for both
halves, how many members called sure are exact under the present curve and under one fitted to the first
half, and the curve's numbers, for `CURVE` in recon/solve/result/confidence.py.  --save keeps what was
read, and --from takes such files in place of folders.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from recon.bench.reading import confidence_hits, frames_in
from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.files import frame_to_dict
from recon.frame.stock import load_stocks
from recon.geometry.arrays import BoolArray, FloatArray
from recon.image.photos import load_photo
from recon.solve.result.confidence import CURVE, Curve, MemberEvidence

WANTED = 0.98  # of the members called sure, for them to be exact
PRIOR_SPREAD = 3.0  # of each number of the curve about the present one; this project's choice
STEP = 0.05  # by which the constant term is lowered until as many as wanted are exact
MOST_STEPS = 100
SURE_ODDS = float(np.log(SURE / (1 - SURE)))  # natural logarithm of the odds from which a member is sure


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns 1 where members called sure are wrong too often on the checking half."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench confidence", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument(
        "--photos", nargs="+", type=int, default=[3, 2, 1], help="of each frame (%(default)s)"
    )
    parser.add_argument("--save", type=Path, help="keep what was read in this file")
    parser.add_argument("--from", dest="kept", nargs="+", type=Path, default=[], help="files kept before")
    opts = parser.parse_args(args)
    rows = [row for file in opts.kept for row in json.loads(file.read_text(encoding="utf-8"))]
    for folder in frames_in(opts.folders) if opts.folders else ():
        for photos in opts.photos:
            rows += measure(folder, photos)
            print(f"{folder.name}, {photos} photos: {len(rows)} members so far", flush=True)
            if opts.save:
                opts.save.write_text(json.dumps(rows))
    if not rows:
        raise ReconError("No members: name folders of frames with truth, or files kept with --save.")
    text, good = report(rows)
    print(text)
    return 0 if good else 1


def measure(folder: Path, photos: int) -> list[dict[str, Any]]:
    """What was seen of each member of a frame, and whether it is exact; none where it could not be read."""
    from recon import solve

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    names = [p["file"] for p in truth["photos"]][:photos]
    try:
        reading = solve.read([load_photo(folder / name) for name in names], stocks=load_stocks())
    except ReconError:
        return []
    frame = frame_to_dict(reading.frame)
    tied = {name for j in reading.frame.joints for name in (j.a, j.b)}
    return [
        {
            "frame": folder.name,
            "photos": photos,
            "nats": reading.seen[m["id"]].nats,
            "ends": list(reading.seen[m["id"]].ends),
            "held": reading.seen[m["id"]].held,
            "tied": m["id"] in tied,
            "exact": bool(exact),
        }
        for m, (_, exact) in zip(frame["members"], confidence_hits(frame, truth))
        if m["id"] in reading.seen
    ]


def halves(rows: Sequence[dict[str, Any]]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Members for fitting and for checking: frames in turn, in the order of their names.

    Examples
    --------
    >>> [[row["frame"] for row in half] for half in halves([{"frame": name} for name in "abca"])]
    [['a', 'c', 'a'], ['b']]
    """
    number = {name: k for k, name in enumerate(sorted({row["frame"] for row in rows}))}
    fit, check = ([row for row in rows if number[row["frame"]] % 2 == k] for k in (0, 1))
    return fit, check


def _evidence(row: dict[str, Any]) -> MemberEvidence:
    return MemberEvidence(row["nats"], (row["ends"][0], row["ends"][1]), row.get("held", 0))


def fit_curve(rows: Sequence[dict[str, Any]]) -> Curve:
    """The curve that fits members best, lowered until WANTED of those called sure are exact.

    Parameters
    ----------
    rows : of `measure`

    Notes
    -----
    Logistic regression by maximum likelihood, with a wide normal prior about the present curve.
    """
    terms, tied = _terms(rows)
    exact = np.array([row["exact"] for row in rows], bool)
    now = np.array(CURVE)

    def cost(curve: FloatArray) -> float:
        odds = terms @ curve
        fit = np.logaddexp(0, odds).sum() - exact @ odds
        return float(fit + 0.5 * (((curve - now) / PRIOR_SPREAD) ** 2).sum())

    curve = minimize(cost, now).x
    for _ in range(MOST_STEPS):
        sure = tied & (terms @ curve >= SURE_ODDS)
        if not sure.any() or exact[sure].mean() >= WANTED:
            break
        curve[0] -= STEP
    a, b, c, d = (round(float(x), 2) for x in curve)
    return a, b, c, d


def _terms(rows: Sequence[dict[str, Any]]) -> tuple[FloatArray, BoolArray]:
    """(N, 4) what a curve weighs of each member, 1 for the constant term; and (N,) which lap another."""
    terms = np.array([[1.0, *_evidence(row).terms] for row in rows]).reshape(-1, len(CURVE))
    return terms, np.array([row["tied"] for row in rows], bool)


def called_sure(rows: Sequence[dict[str, Any]], curve: Curve) -> BoolArray:
    """Which members a curve calls sure; one that laps no other never is."""
    terms, tied = _terms(rows)
    sure: BoolArray = tied & (terms @ np.array(curve) >= SURE_ODDS)
    return sure


def share_exact(rows: Sequence[dict[str, Any]], curve: Curve) -> float:
    """Of the members that a curve calls sure, how many are exact; 1 where it calls none so."""
    sure = called_sure(rows, curve)
    return float(np.mean([row["exact"] for row, s in zip(rows, sure) if s])) if sure.any() else 1.0


def report(rows: Sequence[dict[str, Any]]) -> tuple[str, bool]:
    """The figures in words, and whether the present curve holds on the half for checking."""
    fit, check = halves(rows)
    fitted = fit_curve(fit) if fit else CURVE
    lines = []
    for name, curve in (("present", CURVE), ("fitted", fitted)):
        lines.append(f"{name} curve {curve}")
        for half, part in (("fitting", fit), ("checking", check)):
            sure = called_sure(part, curve)
            exact = sum(row["exact"] for row, s in zip(part, sure) if s)
            share = 100 * share_exact(part, curve)
            lines.append(
                f"  half for {half}: {len(part)} members, {sum(r['exact'] for r in part)} exact; "
                f"called sure {int(sure.sum())}, of these exact {exact} ({share:.1f} %)"
            )
    return "\n".join(lines), share_exact(check, CURVE) >= WANTED
