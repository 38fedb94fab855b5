"""Where to photograph next: the side from which most of what could not be seen would be."""

from __future__ import annotations

import numpy as np

from recon.solve.evidence.predictions import hidden_by_boxes

AZIMUTHS = np.radians(np.arange(0, 360, 15))
ELEVATIONS = np.radians([10, 40])
SURE = 0.9


def where_to_photograph(photos, members, width: float) -> list[str]:
    """Sentences: what was not seen, and from where it would be.  Empty if all is sure."""
    unseen = [(m, e) for m in members for e in (0, 1) if m.ends[e].state != "seen"]
    weak = [m for m in members if m.confidence < SURE and all(e.state == "seen" for e in m.ends)]
    targets = [np.asarray(m.first, float) if e == 0 else np.asarray(m.last) for m, e in unseen]
    targets += [(np.asarray(m.first, float) + m.last) / 2 for m in weak]
    if not targets:
        return []
    solid = [m for m in members if m.on_lattice]  # the box round a brace would hide what the brace does not
    lo = np.array([np.minimum(m.first, m.last) - width / 2 for m in solid])
    hi = np.array([np.maximum(m.first, m.last) + width / 2 for m in solid])
    middle = (lo.min(0) + hi.max(0)) / 2
    distance = np.mean([np.linalg.norm(v.camera.centre - middle) for v in photos])
    targets = np.array(targets)
    best = (0.0, None)
    for el in ELEVATIONS:
        for az in AZIMUTHS:
            eye = middle + distance * np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
            # A target counts by how many of its six sides show.
            score = 0.0
            for n in np.r_[np.eye(3), -np.eye(3)]:
                X = targets + (width / 2 + 0.02) * n
                facing = ((eye - X) @ n) > 0.2 * distance
                score += (facing & ~hidden_by_boxes(eye, X, lo, hi)).sum()
            near = min(_between(eye - middle, v.camera.centre - middle) for v in photos)
            score *= 1 - np.exp(-((near / np.radians(30)) ** 2))  # a photo from the same place shows the same
            if score > best[0]:
                best = (score, eye)
    names = sorted({m.id for m, _ in unseen} | {m.id for m in weak})
    what = f"Not all of {_list(names)} could be seen."
    if best[1] is None:
        return [what]
    return [f"{what} A photo from {_in_words(best[1] - middle, photos, middle)} would show most of it."]


def _between(a, b):
    return float(np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1)))


def _in_words(direction, photos, middle):
    """A viewpoint relative to the nearest photo, as a person would say it."""
    here = np.arctan2(direction[1], direction[0])
    turn = []
    for v in photos:
        d = v.camera.centre - middle
        turn.append((here - np.arctan2(d[1], d[0]) + np.pi) % (2 * np.pi) - np.pi)
    i = int(np.abs(turn).argmin())
    degrees = int(round(np.degrees(abs(turn[i])) / 5) * 5)
    height = "from above" if direction[2] > 0.45 * np.linalg.norm(direction) else "from low down"
    if degrees < 10:
        return f"where {photos[i].name} was taken, but {height},"
    # Counter-clockwise seen from above: the photographer walks to his own right.
    side = "right" if turn[i] > 0 else "left"
    return f"{degrees}° further round the frame to the {side} of where {photos[i].name} was taken, {height},"


def _list(names):
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
