"""What photos say along a line of holes: the one place where evidence for a member is weighed.

A line is given by its openings, on the lattice or at any angle.  At any angle the photos are looked at from a
world turned so that the line runs along an axis: there everything that is known about faces normal to an axis
holds.  Only what hides an opening is found in the world of the frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.boxes import lifted
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.heads import with_heads
from recon.solve.evidence.occluders import NOTHING, Occluders
from recon.solve.evidence.own_place import LEFT, SHIFT_SPREAD, OwnPlace, Sightings, fit_own_place
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.evidence.predictions import Matches, match_predictions, member_openings
from recon.solve.evidence.scene import Scene

WIDE = 2.0  # spreads of an own place within which openings are looked for before it is known
NEAR_PITCHES = 0.9  # at an angle: detections within this, and a width, of the line are looked at


@dataclass(frozen=True)
class LineOpenings:
    """The openings that a line of holes shows on its four faces.

    Attributes
    ----------
    centre : array, (4, K, 3)
        Pitches, in the frame's world.
    normal : array, (4, K, 3)
        Outward.
    turn : array or None, (3, 3)
        Rotation into a world in which the line runs along axis 0 and its faces are normal to axes 1 and 2;
        None where they are so in the frame's world already.
    width : float
        Of the member, pitches; used with ``turn`` only.
    off : array or None, (K, 3)
        How far each hole is off its place on the lattice, where that is known, pitches.
    play : array or None, (K,)
        Spread of each hole about that, pitches; NaN: that of the photo.
    """

    centre: FloatArray
    normal: FloatArray
    turn: FloatArray | None = None
    width: float = 1.0
    off: FloatArray | None = None
    play: FloatArray | None = None

    def part(self, start: int, stop: int) -> LineOpenings:
        """The openings of holes ``start`` to ``stop`` - 1."""
        return LineOpenings(
            self.centre[:, start:stop],
            self.normal[:, start:stop],
            self.turn,
            self.width,
            None if self.off is None else self.off[start:stop],
            None if self.play is None else self.play[start:stop],
        )


@dataclass(frozen=True)
class LineEvidence:
    """What V photos say at the openings of a line of K holes.

    Attributes
    ----------
    llr : array, (V, 4, K)
        Nats; 0 where nothing can be said.
    hit : int array, (V, 4, K)
        Index of the detection, -1 none.
    visible : bool array, (V, 4, K)
        Should be in sight.
    head : int array, (V, 4, K)
        Index of the detection of a bolt's head that covers the opening, -1 none.
    """

    llr: FloatArray
    hit: IntArray
    visible: BoolArray
    head: IntArray

    @property
    def profile(self) -> FloatArray:
        """(K,) nats at each hole, all photos and faces together."""
        return self.llr.sum((0, 1))

    @property
    def marks(self) -> IntArray:
        """(K,) openings and heads of bolts found at each hole, all photos and faces together."""
        return ((self.hit >= 0) | (self.head >= 0)).sum((0, 1))

    @property
    def explained(self) -> IntArray:
        """(V, 8, K) indices of the detections that are openings or heads of the line, -1 none."""
        return np.concatenate([self.hit, self.head], 1)

    def shown_at(self, mask: BoolArray) -> LineEvidence:
        """The evidence with nothing said of openings but those of a mask (V, 4, K)."""
        return LineEvidence(
            np.where(mask, self.llr, 0.0),
            np.where(mask, self.hit, -1),
            self.visible & mask,
            np.where(mask, self.head, -1),
        )

    def part_at(self, holes: IntArray) -> LineEvidence:
        """The evidence at some holes, by number."""
        return LineEvidence(
            self.llr[:, :, holes], self.hit[:, :, holes], self.visible[:, :, holes], self.head[:, :, holes]
        )

    def part(self, start: int, stop: int) -> LineEvidence:
        """The evidence at holes ``start`` to ``stop`` - 1."""
        here = slice(start, stop)
        return LineEvidence(
            self.llr[:, :, here].copy(),
            self.hit[:, :, here].copy(),
            self.visible[:, :, here].copy(),
            self.head[:, :, here].copy(),
        )


def lattice_openings(
    axis: int, first: FloatArray, count: int, width: float, own: OwnPlace | None = None
) -> LineOpenings:
    """Openings of ``count`` holes along an axis from ``first`` (3,), pitches; ``own``: the member's place."""
    centre, normal = member_openings(axis, first, count, width)
    line = LineOpenings(centre, np.repeat(normal[:, None], count, 1))
    if own is None:
        return line
    return replace(line, off=own.at(first[axis] + np.arange(count)), play=np.full(count, LEFT))


def has_own_places(photos: Sequence[PosedPhoto]) -> bool:
    """May members be off the lattice?  Where there is play, and two photos or more to tell it by."""
    return len(photos) > 1 and any(p.play for p in photos)


def with_wide_play(line: LineOpenings, photos: Sequence[PosedPhoto]) -> LineOpenings:
    """A line whose own place is not known yet: its openings may be further off than the photos' play.

    Where members have no own places, nothing changes.
    """
    if not has_own_places(photos):
        return line
    play = max(SHIFT_SPREAD, *(p.play for p in photos))
    return replace(line, play=np.full(line.centre.shape[1], WIDE * play))


def side_by_side(lines: Iterable[LineOpenings]) -> LineOpenings:
    """Openings of several lattice lines as one table, hole after hole."""
    lines = list(lines)
    count = [x.centre.shape[1] for x in lines]
    off = [np.zeros((n, 3)) if x.off is None else x.off for x, n in zip(lines, count)]
    play = [np.full(n, np.nan) if x.play is None else x.play for x, n in zip(lines, count)]
    return LineOpenings(
        np.concatenate([x.centre for x in lines], 1),
        np.concatenate([x.normal for x in lines], 1),
        off=np.concatenate(off) if any(x.off is not None for x in lines) else None,
        play=np.concatenate(play) if any(x.play is not None for x in lines) else None,
    )


def spans_side_by_side(lines: Iterable[LineOpenings]) -> Iterator[tuple[int, int]]:
    """Where the holes of each line start and stop in the table of :func:`side_by_side`.

    Examples
    --------
    >>> rail, post = lattice_openings(0, np.zeros(3), 4, 1.0), lattice_openings(2, np.zeros(3), 6, 1.0)
    >>> list(spans_side_by_side([rail, post]))
    [(0, 4), (4, 10)]
    """
    return pairwise(accumulate((line.centre.shape[1] for line in lines), initial=0))


def along_line(
    photos: Sequence[PosedPhoto],
    openings: LineOpenings,
    occluders: Occluders = NOTHING,
    *,
    only_free: bool = False,
    bolted: BoolArray | None = None,
) -> LineEvidence:
    """What each photo says of each opening of a line.

    Parameters
    ----------
    photos : Sequence[PosedPhoto]
        With cameras in the frame's world.
    openings : LineOpenings
        Of the line.
    occluders : Occluders
        What may hide them.
    only_free : bool
        Detections that another member explains (``PosedPhoto.free`` is False) say nothing.
    bolted : bool array or None, (4, K)
        Faces that a bolt's head or nut may cover: a miss there is no miss.

    Examples
    --------
    A member along x, 20 pitches before a camera; of its five openings the last is not detected.

    >>> from recon.geometry.camera import Camera
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.evidence.posed_photo import make_posed_photo
    >>> camera = Camera(1000.0, 400.0, 300.0, t=np.array([0, 0, 20.0]))
    >>> openings = lattice_openings(0, np.array([-2, 0, 0]), 5, 1.0)
    >>> spots = np.zeros(4, OPENING)
    >>> spots["x"], spots["y"] = camera.project(openings.centre[3, :4]).T
    >>> spots["major"], spots["minor"], spots["score"] = 15, 15, 5
    >>> photo = make_posed_photo("made.jpg", camera, (800, 600), spots, 0.29)
    >>> np.sign(along_line([photo], openings).profile).astype(int).tolist()
    [1, 1, 1, 1, -1]

    A bolt's head at the last hole would explain the miss.

    >>> bolted = np.arange(5) == np.full((4, 1), 4)
    >>> np.sign(along_line([photo], openings, bolted=bolted).profile).astype(int).tolist()
    [1, 1, 1, 1, 0]
    """
    seen = [match_openings(photo, openings, occluders, only_free, bolted) for photo in photos]
    return evidence_of(seen, openings, bolted)


def evidence_of(seen: Sequence[Matches], openings: LineOpenings, bolted: BoolArray | None) -> LineEvidence:
    """The matches of each photo as one table."""
    shape = (len(seen), *openings.centre.shape[:2])
    llr, hit, visible, head = np.zeros(shape), np.full(shape, -1), np.zeros(shape, bool), np.full(shape, -1)
    for i, found in enumerate(seen):
        llr[i], hit[i], visible[i] = (a.reshape(shape[1:]) for a in (found.llr, found.hit, found.visible))
        head[i] = found.head.reshape(shape[1:])
    if bolted is not None:
        llr = np.where(bolted, np.maximum(llr, 0), llr)
    return LineEvidence(llr, hit, visible, head)


def match_openings(
    photo: PosedPhoto,
    openings: LineOpenings,
    occluders: Occluders = NOTHING,
    only_free: bool = False,
    bolted: BoolArray | None = None,
) -> Matches:
    """What one photo says of the openings of a line, face after face: tables of 4 K rows.

    bolted : (4, K) faces that a bolt's head or nut may cover, where that is known.
    """
    X, n = openings.centre.reshape(-1, 3), openings.normal.reshape(-1, 3)
    laps = None if bolted is None else bolted.ravel()
    at = lifted(X, n)

    def hidden(numbers: IntArray) -> BoolArray:
        return occluders.hide(photo.camera.centre, at[numbers])

    if openings.turn is None:
        X, n, play = opening_places(photo, openings)
        found = match_predictions(photo, X, n, hidden, only_free, play)
        return with_heads(photo, X, n, found, laps, only_free)
    near = _turned(photo, openings, openings.turn)
    if near is None:
        nothing = np.full(len(X), -1)
        return Matches(
            np.zeros(len(X)), nothing, np.zeros(len(X), bool), np.full((len(X), 2), -1e6), nothing.copy()
        )
    turned, index = near
    X, n = X @ openings.turn.T, n @ openings.turn.T
    seen = with_heads(turned, X, n, match_predictions(turned, X, n, hidden, only_free), laps, only_free)
    hit, head = (np.where(a >= 0, index[a], -1) for a in (seen.hit, seen.head))
    return replace(seen, hit=hit, head=head)


def opening_places(
    photo: PosedPhoto, openings: LineOpenings
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Where the openings of a lattice line are to be looked for in a photo, face after face.

    Returns
    -------
    places, normals : arrays, (4 K, 3)
        Pitches, and unit vectors.
    play : array or None, (4 K,)
        Spread about them, pitches; None: that of the photo.
    """
    X, n = openings.centre.reshape(-1, 3), openings.normal.reshape(-1, 3)
    if openings.off is not None:
        X = X + np.tile(openings.off, (4, 1))
    if openings.play is None:
        return X, n, None
    return X, n, np.tile(np.where(np.isnan(openings.play), photo.play, openings.play), 4)


def _turned(
    photo: PosedPhoto, openings: LineOpenings, turn: FloatArray
) -> tuple[PosedPhoto, IntArray] | None:
    """The photo in the line's world with the detections near the line only, and their numbers in all of it.

    None where no detection is near.
    """
    axis = openings.centre.mean(0)[[0, -1]]  # centres of the first and of the last hole
    px = photo.camera.project(axis)
    depth = openings.centre.reshape(-1, 3) @ photo.camera.R[2] + photo.camera.t[2]
    if not np.isfinite(px).all() or depth.min() < 0.5:
        return None
    reach = photo.camera.f / depth.min() * (NEAR_PITCHES + openings.width)
    o = photo.openings
    q = np.c_[o["x"], o["y"]] - px[0]
    d = px[1] - px[0]
    t = np.clip(q @ d / max(float(d @ d), 1e-9), 0, 1)
    index = np.nonzero(np.linalg.norm(q - t[:, None] * d, axis=1) < reach)[0]
    if not len(index):
        return None
    part = replace(
        photo,
        openings=o[index],
        tree=cKDTree(np.c_[o["x"], o["y"]][index]),
        density=photo.density[index],
        free=photo.free[index],
        mark=photo.mark[index],
    )
    c = photo.camera
    return with_camera(part, c.posed(c.R @ turn.T, c.t)), index


def candidate_openings(scene: Scene) -> list[LineOpenings]:
    """The openings of all candidates of a scene."""
    return [lattice_openings(c.axis, c.first, c.holes, scene.width, c.own) for c in scene.candidates]


def match_member(scene: Scene, photo: PosedPhoto, candidate: Candidate) -> tuple[FloatArray, Matches]:
    """What one photo shows of all openings of a candidate: centres (4 holes, 3) pitches, and the matches.

    All candidates of the scene may hide them.
    """
    openings = lattice_openings(candidate.axis, candidate.first, candidate.holes, scene.width, candidate.own)
    return openings.centre.reshape(-1, 3), match_openings(photo, openings, scene.occluders)


def own_place(
    photos: Sequence[PosedPhoto], axis: int, openings: LineOpenings, evidence: LineEvidence
) -> OwnPlace | None:
    """The own place of a member by its openings found; None where they are too few, or nothing has play."""
    if not has_own_places(photos):
        return None
    X = openings.centre.reshape(-1, 3)
    sightings = []
    for photo, hits in zip(photos, evidence.hit):
        hit = hits.reshape(-1)
        o = photo.openings[hit[hit >= 0]]
        sightings.append(Sightings(photo, X[hit >= 0], np.c_[o["x"], o["y"]]))
    return fit_own_place(axis, sightings)
