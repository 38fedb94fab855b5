"""Numbers, lists, holes and directions in words, for papers and commands. Holes are counted from 1 here."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.model import EndChoice, Joint
from recon.geometry.arrays import FloatArray
from recon.workshop.side_axes import side_axes

_VERTICAL = {1: "up", -1: "down"}


def plural(n: int, one: str, many: str | None = None) -> str:
    """A count with its noun.

    >>> plural(1, "hole"), plural(3, "hole"), plural(2, "piece of stock", "pieces of stock")
    ('1 hole', '3 holes', '2 pieces of stock')
    """
    return f"{n} {one if n == 1 else many or one + 's'}"


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def count_word(n: int) -> str:
    """A whole number in words up to ten, else in digits.

    >>> count_word(2), count_word(12)
    ('two', '12')
    """
    return _NUMBERS[n] if 0 <= n < len(_NUMBERS) else str(n)


def listed(words: Iterable[object], last: str = "and") -> str:
    """A list as a sentence has it, with `last` before its last word; '' for none.

    >>> listed("A"), listed("AB"), listed("ABC", "or")
    ('A', 'A and B', 'A, B or C')
    """
    texts = [str(word) for word in words]
    if len(texts) < 2:
        return "".join(texts)
    return f"{', '.join(texts[:-1])} {last} {texts[-1]}"


def holes_words(holes: Iterable[tuple[str, int]]) -> str:
    """The holes on one axis, (member id, hole counted from 0), one after another.

    >>> holes_words([("C", 2), ("F", 0)])
    'hole 3 of C on hole 1 of F'
    """
    return " on ".join(f"hole {hole + 1} of {id}" for id, hole in holes)


def holes_in_words(holes: Iterable[tuple[str, int]]) -> str:
    """Holes (member id, hole counted from 0) member by member, counted from 1.

    >>> holes_in_words([("C", 2), ("F", 0), ("C", 4)])
    'holes 3 and 5 of C and hole 1 of F'
    """
    by_member: dict[str, list[int]] = {}
    for id, hole in holes:
        by_member.setdefault(id, []).append(hole + 1)
    return listed(
        f"hole{'s' if len(n) > 1 else ''} {listed(sorted(n))} of {id}" for id, n in by_member.items()
    )


def lap_words(joint: Joint) -> str:
    """'hole 3 of C on hole 1 of F'."""
    return holes_words([(joint.a, joint.a_hole), (joint.b, joint.b_hole)])


def choices_words(choices: Sequence[EndChoice], labels: Container[str]) -> str:
    """The holes that a member may have, fewest first, and the members of `labels` that it would then reach.

    >>> choices_words([EndChoice(24, 0.7, "D"), EndChoice(22, 0.3)], {"C", "D"})
    '22 or 24, at D'
    >>> choices_words([EndChoice(22, 0.7, "C"), EndChoice(24, 0.3, "D")], {"C", "D"})
    '22 (at C) or 24 (at D)'
    """
    choices = sorted(choices, key=lambda c: c.holes)
    reached = [c.at if c.at in labels else None for c in choices]
    if not any(reached[:-1]):
        at = f", at {reached[-1]}" if choices and reached[-1] else ""
        return listed((c.holes for c in choices), "or") + at
    return listed((f"{c.holes} (at {at})" if at else c.holes for c, at in zip(choices, reached)), "or")


def direction_words(vector: ArrayLike, z_up: bool = True, right: ArrayLike | None = None) -> str:
    """Which way a vector points: along an axis in words, at an angle as a unit vector or, by sides, in words.

    Parameters
    ----------
    vector : array_like, (3,)
        Of any length but 0.
    z_up : bool
        Whether +z may be called "up" and -z "down".
    right : array_like, (3,), optional
        Unit vector along x or y that is the frame's right (`side_axes.to_the_right`): then, where z points
        up, the level axes are "right", "left", "back" and "front".

    Examples
    --------
    >>> direction_words([0, 0, 2]), direction_words([0, 0, 2], z_up=False), direction_words([3, 0, 4])
    ('up', '+z', '[0.6, 0, 0.8]')
    >>> direction_words([0, -1, 0], right=[1, 0, 0]), direction_words([0, -1, 0], right=[0, 1, 0])
    ('front', 'left')
    >>> direction_words([3, 0, 4], right=[1, 0, 0])
    'up and to the right'
    """
    v = np.asarray(vector, float)
    k = int(np.abs(v).argmax())
    if np.abs(np.delete(v, k)).max() > 1e-6 * abs(v[k]):
        if z_up and right is not None:
            return _slanting_words(v, right)
        return "[" + ", ".join(f"{x:.3g}" for x in v / np.linalg.norm(v) + 0.0) + "]"
    if z_up and right is not None:
        along = {name: axis @ v for name, axis in side_axes(np.asarray(right, float)).items()}
        return max(along, key=lambda name: along[name])
    sign = 1 if v[k] > 0 else -1
    return _VERTICAL[sign] if z_up and k == 2 else f"{'+' if sign > 0 else '-'}{'xyz'[k]}"


NO_PART = 0.04  # of a unit vector's components those below are not named: two degrees, this project's choice


def _slanting_words(vector: FloatArray, right: ArrayLike) -> str:
    """'up and to the right': the parts of a direction, the largest first."""
    unit = vector / np.linalg.norm(vector)
    ways = side_axes(np.asarray(right, float))
    parts = sorted(((float(axis @ unit), name) for name, axis in ways.items()), key=lambda p: -p[0])
    return listed(
        name if name in ("up", "down") else f"to the {name}" for part, name in parts if part > NO_PART
    )


def towards_words(vector: ArrayLike, z_up: bool = True, right: ArrayLike | None = None) -> str:
    """Which way something goes or runs, after a verb: as `direction_words`, an angle by its parts.

    >>> towards_words([0, 1, 0], right=[1, 0, 0]), towards_words([0, 0, -1]), towards_words([0, 1, 0])
    ('to the back', 'down', 'towards +y')
    >>> towards_words([0.6, 0, 0.8], right=[1, 0, 0]), towards_words([0.6, 0, 0.8])
    ('0.6 to the right and 0.8 up for each hole', 'towards [0.6, 0, 0.8]')
    """
    words = direction_words(vector, z_up, right)
    if words in ("up", "down"):
        return words
    if words.isalpha():
        return f"to the {words}"
    if z_up and right is not None:
        v = np.asarray(vector, float)
        return f"{ways_words(v / np.linalg.norm(v), right)} for each hole"
    return f"towards {words}"


AXIS_NAMES = {True: "left-to-right", False: "front-to-back"}  # whether the level axis is the one to the right


def axis_name(k: int, right: ArrayLike | None) -> str:
    """An axis of a frame whose z points up: by its sides where its right is known, else by its letter.

    >>> axis_name(0, [1, 0, 0]), axis_name(0, [0, 1, 0]), axis_name(2, [1, 0, 0]), axis_name(1, None)
    ('left-to-right', 'front-to-back', 'upright', 'y')
    """
    if right is None:
        return "xyz"[k]
    return "upright" if k == 2 else AXIS_NAMES[bool(abs(np.asarray(right, float)[k]) > 0.5)]


def ways_words(vector: ArrayLike, right: ArrayLike) -> str:
    """How far a vector goes along each side of a frame, pitches; z points up.

    >>> ways_words([3, 0, -1.5], right=[1, 0, 0])
    '3 to the right and 1.5 down'
    """
    words = []
    for axis, v in zip(np.eye(3), np.round(np.asarray(vector, float), 3)):
        if v:
            way = direction_words(axis * np.sign(v), right=right)
            words.append(f"{abs(v):g} {way if way in ('up', 'down') else f'to the {way}'}")
    return listed(words) or "nothing"
