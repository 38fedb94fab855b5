"""How papers and commands say numbers, lists, places and directions. Holes are counted from 1 here."""

from __future__ import annotations

import numpy as np

from recon.frame.model import Joint

_UP = {(2, 1): "up", (2, -1): "down"}


def plural(n: int, one: str, many: str | None = None) -> str:
    """'1 hole', '3 holes'."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def listed(words, last: str = "and") -> str:
    """'A', 'A and B', 'A, B and C'."""
    words = [str(w) for w in words]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def lap_words(joint: Joint) -> str:
    """'hole 3 of C on hole 1 of F'."""
    return f"hole {joint.a_hole + 1} of {joint.a} on hole {joint.b_hole + 1} of {joint.b}"


def way_words(vector, z_up: bool = True) -> str:
    """Which way a vector along an axis points: '+x', '-y', 'up', 'down'; a slanting one in numbers."""
    v = np.asarray(vector, float)
    k = int(np.abs(v).argmax())
    if np.abs(np.delete(v, k)).max() > 1e-6 * abs(v[k]):
        return "[" + ", ".join(f"{x:.3g}" for x in v / np.linalg.norm(v) + 0.0) + "]"
    sign = 1 if v[k] > 0 else -1
    return _UP[k, sign] if z_up and k == 2 else f"{'+' if sign > 0 else '-'}{'xyz'[k]}"
