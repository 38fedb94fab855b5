"""Photos set aside, and openings marked on them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.model import PhotoMarks, Point
from recon.corrections.state import State
from recon.corrections.users_word import SET_ASIDE
from recon.errors import ReconError

SAME_MARK_PX = 3  # marks nearer than that to each other are one place.  This project's choice


@dataclass(frozen=True)
class PhotoUse:
    """Whether a photo is to be used."""

    file: str
    used: bool


def _use(state: State, request: Json, stocks: Stocks) -> PhotoUse:
    file, used = validation.text(request, "file", 300), validation.flag(request, "used")
    if file not in {p.file for p in state.frame.photos}:
        raise ReconError(f"'{file}' is not among the photos of this frame.")
    return PhotoUse(file, used)


def use_photo(state: State, wanted: PhotoUse) -> Change:
    """Sets a photo aside or takes it back: {file, used}."""
    file, used = wanted.file, wanted.used
    photos = tuple(
        replace(p, used=used, reason="" if used else SET_ASIDE) if p.file == file else p
        for p in state.frame.photos
    )
    others = (f for f in state.corrections.set_aside if f != file)
    corrections = state.corrections.changed(set_aside=(*others, *([] if used else [file])))
    words = f"{file} {'taken back' if used else 'set aside'}"
    return Change(State(replace(state.frame, photos=photos), corrections), words)


@dataclass(frozen=True)
class Mark:
    """A word on one place of a photo, px."""

    photo: str
    xy: Point
    word: str


_MARKED = {"missed": "Hole marked", "false": "Hole marked as none", "clear": "Mark taken back"}


def _mark(state: State, request: Json, stocks: Stocks) -> Mark:
    photo = validation.text(request, "photo", 300)
    word = validation.word(request, "word", tuple(_MARKED))
    x, y = validation.pixel(request, "xy")
    return Mark(photo, (round(x, 1), round(y, 1)), word)


def mark_opening(state: State, wanted: Mark) -> Change:
    """An opening that the reader missed or saw where there is none:
    {photo, xy: [x, y], word: missed, false, clear}."""
    old = state.corrections.marks.get(wanted.photo, PhotoMarks())
    x, y = wanted.xy

    def others(points: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple(p for p in points if np.hypot(p[0] - x, p[1] - y) > SAME_MARK_PX)

    new = PhotoMarks(others(old.missed), others(old.false))  # one word for one place
    if wanted.word == "missed":
        new = replace(new, missed=(*new.missed, wanted.xy))
    elif wanted.word == "false":
        new = replace(new, false=(*new.false, wanted.xy))
    marks = {**state.corrections.marks, wanted.photo: new}
    if not new:
        del marks[wanted.photo]
    words = f"{_MARKED[wanted.word]} in {wanted.photo}"
    return Change(State(state.frame, state.corrections.changed(marks=marks)), words)


PHOTO = EditKind("photo", _use, use_photo)
MARK = EditKind("mark", _mark, mark_opening)
