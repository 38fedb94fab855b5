"""What a person has said of a frame read before: kept by a further reading, which solves the rest around it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import count

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.lattice import overlap
from recon.frame.model import Frame, Member, as_tuple, axis_of, label
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    LEAST_STEPS,
    Stick,
    boxes,
    runs_into,
    same_line,
    shared_holes,
)
from recon.solve.members.ends import find_ends
from recon.solve.members.selection import lap_faces, line_evidence_of

MARK_REACH = 0.75  # of an opening's major axis: a mark is meant for the opening under it, not for the next
PLAIN = 6  # openings in plain sight from which a photo can say that a member is not there


@dataclass(frozen=True)
class Given:
    """A frame that was read before, and what of it is a person's word.

    frame : the frame in the place where the word holds, with the cameras of its photos.
    ends : id -> (at hole 0, at the last hole) bool: members that are there, and which of their ends are certain.
    gone : members that are not there.
    missed, false : photo -> (N, 2) px in the photo: openings that are there and were missed, and that are none.
    """

    frame: Frame
    ends: dict[str, tuple[bool, bool]] = field(default_factory=dict)
    gone: tuple[Member, ...] = ()
    missed: dict[str, np.ndarray] = field(default_factory=dict)
    false: dict[str, np.ndarray] = field(default_factory=dict)


@dataclass(frozen=True)
class Against:
    """Where the photos say otherwise than the person.

    member : the one spoken of, as the person has it.   seen : as the photos show it; None where they do not show it.
    away : the person said that it is not there.
    """

    member: Member
    seen: Member | None
    away: bool = False


def marked(openings: np.ndarray, missed, false, scale: float) -> np.ndarray:
    """A photo's detections (N,) with the openings that a person marked, less those that he called none.

    missed, false : (M, 2) px in the photo.   scale : of the working copy over the photo.

    A marked opening is as large as the detections round it are on the median, and as sure as the surest of all.
    """
    to_working = lambda px: (np.asarray(px, float).reshape(-1, 2) + 0.5) * scale - 0.5
    keep = np.ones(len(openings), bool)
    for x, y in to_working(false):
        keep &= np.hypot(openings["x"] - x, openings["y"] - y) > MARK_REACH * openings["major"]
    openings = openings[keep]
    new = []
    for x, y in to_working(missed):
        far = np.hypot(openings["x"] - x, openings["y"] - y)
        if not len(far) or (far < MARK_REACH * openings["major"] / 2).any():
            continue
        like = openings[np.argsort(far)[:9]]
        row = np.zeros(1, OPENING)
        for name in ("major", "minor", "contrast"):
            row[name] = np.median(like[name])
        row["angle"] = like["angle"][0]
        row["x"], row["y"], row["score"] = x, y, openings["score"].max()
        new.append(row)
    return np.concatenate([*new, openings])


def width_of(given: Given) -> float:
    """The width (pitches) of most of the frame's members: that of its lattice."""
    widths = [m.width for m in given.frame.members]
    return max(sorted(set(widths)), key=widths.count)


def cameras_of(frame: Frame, scales: dict) -> dict[str, Camera]:
    """Photo -> camera in the working copy's pixels, of the photos that the frame was read from.

    scales : photo -> size of the working copy over the photo's.
    """
    return {
        p.file: p.camera.resized(scales[p.file])
        for p in frame.photos
        if p.used and p.camera and p.file in scales
    }


def known_sticks(given: Given) -> list[Stick]:
    """The frame's members along the axes as sticks, lowest hole first, those of the person's word held."""
    sticks = []
    for m in given.frame.members:
        held = given.ends.get(m.id)
        s = stick_of(m)
        if s is not None and m.on_lattice:
            backwards = not np.allclose(s.first, m.first)
            sticks.append(replace(s, held=held and (held[::-1] if backwards else held), name=m.id))
    return sticks


def stick_of(m: Member) -> Stick | None:
    """A member as a stick nothing has been seen of; None where it runs along no axis."""
    axis = axis_of(m)
    if axis is None:
        return None
    return Stick(
        axis,
        np.minimum(m.first, m.last).astype(float),
        m.holes,
        0.0,
        np.zeros(m.holes),
        np.zeros(m.holes, int),
    )


def gone_sticks(given: Given) -> list[Stick]:
    return [s for m in given.gone for s in [stick_of(m)] if s is not None and m.on_lattice]


def still_gone(members, given: Given | None) -> list[Member]:
    """The members less those off the lattice that a person took away."""
    gone = given.gone if given else ()
    return [m for m in members if not any(overlap(g, m) > 0.5 * m.holes for g in gone)]


def named(sticks, given: Given | None) -> list[str]:
    """A label for each stick: of the member before that shares most of its line, else a free one."""
    if given is None:
        return [label(i) for i in range(len(sticks))]
    before = known_sticks(given)
    pairs = sorted(
        (
            (shared_holes(s, b), b.held is not None, b.name, i)
            for i, s in enumerate(sticks)
            for b in before
            if same_line(s, b)
        ),
        key=lambda p: (not p[1], -p[0]),
    )
    names: dict[int, str] = {i: s.name for i, s in enumerate(sticks) if s.held is not None}
    for _, _, name, i in pairs:
        if i not in names and name not in names.values():
            names[i] = name
    spare = spare_labels({m.id for m in given.frame.members} | set(names.values()))
    return [names.get(i) or next(spare) for i in range(len(sticks))]


def spare_labels(taken):
    """Labels that are not taken, one after another."""
    return (name for name in map(label, count()) if name not in taken)


def objections(views, images, sticks, given: Given, width: float) -> list[Against]:
    """Where the photos say clearly otherwise than the person: ends, members not to be seen, members that are there.

    sticks : as solved around the person's word.
    """
    said = {m.id: m for m in given.frame.members}
    out = []
    for i, s in enumerate(sticks):
        if s.held is None:
            continue
        others = sticks[:i] + sticks[i + 1 :]
        llr, visible = line_evidence_of(
            views,
            s.axis,
            s.first,
            s.holes,
            width,
            boxes(sticks, width),
            lap_faces(s.axis, s.first, s.holes, others, width),
        )
        if llr.sum() < 0 and visible.sum() >= PLAIN:
            out.append(Against(said[s.name], None))
            continue
        guesses = find_ends(views, images, s, others, width)
        places = [g.best if h and g.sure > SURE else k for g, h, k in zip(guesses, s.held, (0, s.holes - 1))]
        if places != [0, s.holes - 1] and places[1] >= places[0]:
            out.append(Against(said[s.name], _moved(said[s.name], s, *places)))
    for member in given.gone:
        s = stick_of(member)
        if s is None or runs_into(s, sticks, width):
            continue
        llr, _ = line_evidence_of(
            views,
            s.axis,
            s.first,
            s.holes,
            width,
            boxes(sticks, width),
            lap_faces(s.axis, s.first, s.holes, sticks, width),
        )
        if llr.sum() >= LEAST_EVIDENCE and ((llr > 0).sum((0, 1)) > 0).sum() >= LEAST_STEPS:
            out.append(Against(member, member, away=True))
    return out


def _moved(member: Member, stick: Stick, low: int, high: int) -> Member:
    first = stick.first.copy()
    first[stick.axis] += low
    return replace(
        member, first=as_tuple(first), direction=as_tuple(np.eye(3)[stick.axis]), holes=high - low + 1
    )
