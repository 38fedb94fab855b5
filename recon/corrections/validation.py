"""What a page asks for, checked: each function gives one value of a JSON object or raises ReconError in words."""

from __future__ import annotations

import math

from recon.errors import ReconError
from recon.frame.model import Frame, Member

FARTHEST = 10_000  # pitches from the origin: far beyond any frame, near enough for exact halves


def word(ask: dict, key: str, known) -> str:
    """One of the known words."""
    value = ask.get(key)
    if not isinstance(value, str) or value not in known:
        raise ReconError(f"'{key}' must be one of {', '.join(known)}.")
    return value


def text(ask: dict, key: str, longest: int) -> str:
    """Text of one line without control characters."""
    value = ask.get(key)
    if not isinstance(value, str) or len(value) > longest or not value.isprintable():
        raise ReconError(f"'{key}' must be text of at most {longest} characters in one line.")
    return value.strip()


def whole(ask: dict, key: str, low: int, high: int) -> int:
    value = ask.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ReconError(f"'{key}' must be a whole number from {low} to {high}.")
    return value


def flag(ask: dict, key: str) -> bool:
    if not isinstance(ask.get(key), bool):
        raise ReconError(f"'{key}' must be true or false.")
    return ask[key]


def numbers(ask: dict, key: str, count: int, farthest: float = 100_000) -> tuple[float, ...]:
    values = ask.get(key)
    if (
        not isinstance(values, list)
        or len(values) != count
        or not all(
            isinstance(v, (int, float))
            and not isinstance(v, bool)
            and math.isfinite(v)
            and abs(v) <= farthest
            for v in values
        )
    ):
        raise ReconError(f"'{key}' must be {count} numbers.")
    return tuple(map(float, values))


def vector(ask: dict, key: str) -> tuple[float, ...]:
    """Three numbers, pitches."""
    return numbers(ask, key, 3, FARTHEST)


def several(ask: dict, key: str) -> list[str]:
    """Different labels, at least one."""
    ids = ask.get(key)
    if not isinstance(ids, list) or not ids or not all(isinstance(id, str) for id in ids):
        raise ReconError(f"'{key}' must name one member or more.")
    return list(dict.fromkeys(ids))


def member_of(frame: Frame, id) -> Member:
    try:
        return frame.member(id)
    except KeyError:
        raise ReconError(f"There is no member '{str(id)[:20]}' (any more).") from None


def member(frame: Frame, ask: dict, key: str) -> Member:
    return member_of(frame, ask.get(key))


def lap(frame: Frame, ask: dict) -> tuple[str, int, str, int]:
    """The key of a lap, in order; its two members and holes are there."""
    value = ask.get("lap")
    if not isinstance(value, list) or len(value) != 4:
        raise ReconError("'lap' must name two members and their holes.")
    ends = []
    for id, hole in (value[:2], value[2:]):
        m = member_of(frame, id)
        ends.append((id, whole({"hole": hole}, "hole", 0, m.holes - 1)))
    if ends[0][0] == ends[1][0]:
        raise ReconError("A lap joins two different members.")
    a, b = sorted(ends)
    return (*a, *b)


def stock(stocks, ask: dict):
    id = ask.get("stock")
    if not isinstance(id, str) or id not in stocks:
        raise ReconError(f"There is no stock '{str(id)[:40]}' in the stock list.")
    return stocks[id]
