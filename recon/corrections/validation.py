"""Requests of a page, checked: each function gives one value of a JSON object or raises ReconError."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Any

from recon.corrections.codec import Json
from recon.corrections.model import LapKey
from recon.errors import ReconError
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.geometry.arrays import Vector

FARTHEST = 10_000  # pitches from the origin: far beyond any frame, near enough for exact halves


def word(request: Json, key: str, known: Collection[str]) -> str:
    """One of the known words.

    Examples
    --------
    >>> word({"word": "apart"}, "word", ("joined", "apart"))
    'apart'
    """
    value = request.get(key)
    if not isinstance(value, str) or value not in known:
        raise ReconError(f"'{key}' must be one of {', '.join(known)}.")
    return value


def text(request: Json, key: str, longest: int) -> str:
    """Text of one line without control characters, at most `longest` characters."""
    value = request.get(key)
    if not isinstance(value, str) or len(value) > longest or not value.isprintable():
        raise ReconError(f"'{key}' must be text of at most {longest} characters in one line.")
    return value.strip()


def whole(request: Json, key: str, low: int, high: int) -> int:
    """A whole number from `low` to `high`."""
    value = request.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ReconError(f"'{key}' must be a whole number from {low} to {high}.")
    return value


def flag(request: Json, key: str) -> bool:
    """True or false."""
    value = request.get(key)
    if not isinstance(value, bool):
        raise ReconError(f"'{key}' must be true or false.")
    return value


def number(request: Json, key: str, low: float, high: float) -> float:
    """A finite number from `low` to `high`."""
    value: Any = request.get(key)
    if not _is_number(value) or not math.isfinite(value) or not low <= value <= high:
        raise ReconError(f"'{key}' must be a number from {low:g} to {high:g}.")
    return float(value)


def numbers(request: Json, key: str, count: int, farthest: float = 100_000) -> tuple[float, ...]:
    """A list of so many finite numbers, none farther from 0 than `farthest`."""
    values = request.get(key)
    if (
        not isinstance(values, list)
        or len(values) != count
        or not all(_is_number(v) and math.isfinite(v) and abs(v) <= farthest for v in values)
    ):
        raise ReconError(f"'{key}' must be {count} numbers.")
    return tuple(map(float, values))


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def pixel(request: Json, key: str) -> tuple[float, float]:
    """A place on a photo, px."""
    x, y = numbers(request, key, 2)
    return x, y


def vector(request: Json, key: str) -> Vector:
    """Three numbers, pitches."""
    x, y, z = numbers(request, key, 3, FARTHEST)
    return x, y, z


def several(request: Json, key: str) -> list[str]:
    """Different labels, at least one."""
    ids = request.get(key)
    if not isinstance(ids, list) or not ids or not all(isinstance(id, str) for id in ids):
        raise ReconError(f"'{key}' must name one member or more.")
    return list(dict.fromkeys(ids))


def member_of(frame: Frame, id: Any) -> Member:
    """The member of this label."""
    try:
        return frame.member(id)
    except KeyError:
        raise ReconError(f"There is no member '{str(id)[:20]}' (any more).") from None


def member(frame: Frame, request: Json, key: str = "member") -> Member:
    """The member that is named under `key`."""
    return member_of(frame, request.get(key))


def lap(frame: Frame, request: Json) -> LapKey:
    """The key of a lap, in order; its two members and holes are there."""
    value = request.get("lap")
    if not isinstance(value, list) or len(value) != 4:
        raise ReconError("'lap' must name two members and their holes.")
    ends = []
    for id, hole in (value[:2], value[2:]):
        m = member_of(frame, id)
        ends.append((m.id, whole({"hole": hole}, "hole", 0, m.holes - 1)))
    if ends[0][0] == ends[1][0]:
        raise ReconError("A joint is of two different members.")
    a, b = sorted(ends)
    return (*a, *b)


def stock(stocks: Mapping[str, Stock], request: Json) -> Stock:
    """The stock that is named."""
    id = request.get("stock")
    if not isinstance(id, str) or id not in stocks:
        raise ReconError(f"There is no stock '{str(id)[:40]}' in the stock list.")
    return stocks[id]
