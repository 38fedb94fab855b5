"""The frame's size by one measured length: of a member, of so many holes, or between two openings picked on a photo."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np

from recon.corrections import validation
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.boxes import faces_seen, hidden, openings
from recon.frame.length import MEASURED, SIZE_DOUBTS, mm_text, parse_known_length, parse_mm
from recon.frame.model import Frame
from recon.frame.tape import (
    Spot,
    disagreement,
    in_the_way,
    pitch_of,
    pitches_between,
    pitches_words,
    place,
    slack_mm,
    spots_words,
)
from recon.workshop.wording import listed, plural

LONGEST_TEXT = 200
NEAR = 0.6  # pitches on the photo: a pick nearer than that to an opening is meant for it
BEHIND = 1.0  # pitches that a pick must be nearer to an opening out of sight than to one in sight to be meant for it


def scale(state: State, ask: dict) -> tuple[State, str]:
    """The pitch from one measured length: {text: 'A = 610 mm' or '16 holes = 24 1/8 in'}, or
    {text: '571.5 mm', points: two of {member, hole, face}}, from centre to centre."""
    text = validation.text(ask, "text", LONGEST_TEXT)
    if ask.get("points") is not None:
        found = between(state.frame, spots(state.frame, ask), text)
        mm, pitches, member, words = found["mm"], found["pitches"], None, found["words"]
    else:
        mm, pitches, member = _known(state.frame, text)
        what = f"{member} with its {plural(pitches, 'hole')}" if member else plural(pitches, "hole")
        words = f"Pitch {mm_text(pitch_of(mm, pitches))} from {mm_text(mm)} over {what}, end to end"
    use = state.frame.stock
    frame = replace(state.frame, pitch_mm=pitch_of(mm, pitches), stock=use and replace(use, how="length"))
    return State(
        frame, {**state.said, "scale": {"mm": round(mm, 4), "pitches": round(pitches, 6), "member": member}}
    ), words


def _known(frame: Frame, text: str) -> tuple[float, int, str | None]:
    known = parse_known_length(text)
    if known.member:
        return known.mm, validation.member_of(frame, known.member).holes, known.member
    if known.holes:
        return known.mm, known.holes, None
    raise ReconError("Name a member or a number of holes: 'A = 610 mm' or '16 holes = 24 1/8 in'.")


def spots(frame: Frame, ask: dict) -> tuple[Spot, Spot]:
    """The two openings in `points`, checked."""
    points = ask.get("points")
    if not isinstance(points, list) or len(points) != 2:
        raise ReconError("Pick two openings to measure between.")
    return tuple(_spot(frame, p) for p in points)


def _spot(frame: Frame, point) -> Spot:
    if not isinstance(point, dict):
        raise ReconError("A picked opening must name its member, hole and face.")
    m = validation.member(frame, point, "member")
    return Spot(m.id, validation.whole(point, "hole", 0, m.holes - 1), validation.whole(point, "face", 0, 3))


def between(frame: Frame, ends: tuple[Spot, Spot], text: str = "") -> dict:
    """What a tape from opening to opening tells: `pitches`, `where` (a sentence on what to lay the tape on) and, with a
    length in `text`, `mm`, `words` for the change and `how_sure`.  Raises ReconError."""
    pitches = pitches_between(frame, *ends)
    name, way = spots_words(*ends), in_the_way(frame, *ends)
    straight = "" if ends[0].member == ends[1].member else " in a straight line,"
    blocked = (
        f" {listed(way)} {'is' if len(way) == 1 else 'are'} in the way of a straight tape there: better pick others."
        if way
        else ""
    )
    where = f"{name[0].upper()}{name[1:]}: {pitches_words(pitches)},{straight} centre of hole to centre of hole.{blocked}"
    told = {"pitches": pitches, "where": where}
    if text:
        mm = parse_mm(text)
        pitch = pitch_of(mm, pitches)
        told |= {
            "mm": mm,
            "words": f"Pitch {mm_text(pitch)} from {mm_text(mm)} over {pitches_words(pitches)} ({name}, centre to centre)",
            "how_sure": f"A tape tells it to ±{slack_mm(mm) / pitches:.2f} mm; a longer length tells more.",
        }
    return told


def sized(state: State, stocks) -> State:
    """The state with what is not sure about its size told anew in the frame's doubts, where the user measured it."""
    measured, frame = state.said.get("scale"), state.frame
    if not measured:
        return state
    doubts = [text for text in frame.doubts if not text.startswith(SIZE_DOUBTS)]
    if isinstance(measured, dict):  # journals of before it was kept hold `true`
        doubts += _size_doubts(frame, measured, stocks)
    return state if tuple(doubts) == frame.doubts else State(replace(frame, doubts=tuple(doubts)), state.said)


def _size_doubts(frame: Frame, measured: dict, stocks):
    holes = {m.id: m.holes for m in frame.members}.get(measured["member"])
    if holes and holes != measured["pitches"]:
        yield (
            f"{MEASURED} was that of {measured['member']} with {plural(int(measured['pitches']), 'hole')}; it has {holes} now. "
            "Give the length again."
        )
    elif frame.stock and frame.stock.id in stocks:
        text = disagreement(measured["mm"], measured["pitches"], stocks[frame.stock.id], stocks)
        if text:
            yield text


# Picking on a photo


def picked(frame: Frame, photo: str, xy, within_px: float) -> Spot:
    """The opening that a pick at xy (px) on a photo is meant for: the nearest of those on faces turned to the camera, one in
    sight before one behind another member.  Raises ReconError where there is none near."""
    camera = next((p.camera for p in frame.photos if p.file == photo and p.camera), None)
    if camera is None:
        raise ReconError(
            f"{photo}: its camera is not known, so nothing can be measured on it; read the photos first."
        )
    found = []
    for m in frame.members:
        centres, seen = openings(m), faces_seen(m, camera.centre)[2:]
        px = camera.project(centres.reshape(-1, 3)).reshape(4, m.holes, 2)
        depth = (centres @ camera.R.T + camera.t)[..., 2]
        far = np.linalg.norm(px - np.asarray(xy, float), axis=-1)
        pitch_px = camera.f / np.maximum(depth, 1e-6)
        near = seen[:, None] & (depth > 0) & np.isfinite(far) & (far < np.maximum(NEAR * pitch_px, within_px))
        found += [
            (far[f, k] / pitch_px[f, k], Spot(m.id, int(k), int(f)), centres[f, k])
            for f, k in np.argwhere(near)
        ]
    if not found:
        raise ReconError(
            "There is no opening of a member there; pick nearer to one, or draw the member first."
        )
    behind = hidden(np.array([p for _, _, p in found]), camera.centre, frame.members)
    return min(zip(found, behind), key=lambda x: (x[0][0] + BEHIND * x[1], x[0][1].member, x[0][1].hole))[0][
        1
    ]


def told(frame: Frame, ask: dict) -> dict:
    """What the page shows of a measuring under way: {points: one or two, each a pick {photo, xy, within} or
    {member, hole, face}; text: the length so far} -> {points, places: {photo: a place [x, y] in px for each point}, and what
    `between` says; `problem`, a sentence, where it says no}."""
    points = ask.get("points")
    if not isinstance(points, list) or not 1 <= len(points) <= 2:
        raise ReconError("Pick one opening or two.")
    ends = [_pick(frame, p) if isinstance(p, dict) and "photo" in p else _spot(frame, p) for p in points]
    where = np.array([place(frame.member(s.member), s) for s in ends])
    places = {p.file: np.round(p.camera.project(where), 1).tolist() for p in frame.photos if p.camera}
    answer = {
        "points": [asdict(s) | {"holes": frame.member(s.member).holes} for s in ends],
        "places": {
            file: [xy if np.isfinite(xy).all() else None for xy in all] for file, all in places.items()
        },
    }
    try:
        if len(ends) == 2:
            answer |= between(frame, tuple(ends))
            answer |= between(
                frame, tuple(ends), validation.text(ask, "text", LONGEST_TEXT) if ask.get("text") else ""
            )
    except ReconError as error:
        answer["problem"] = str(error)
    return answer


def _pick(frame: Frame, point: dict) -> Spot:
    within = validation.numbers({"within": [point.get("within", 0)]}, "within", 1, 400)[0]
    return picked(frame, validation.text(point, "photo", 300), validation.numbers(point, "xy", 2), within)
