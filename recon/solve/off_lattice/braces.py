"""Members off the lattice: braces at an angle, and members along an axis that are off by part of a pitch.

Sought when the frame is solved, among the openings that its members leave unexplained; neither cameras
nor members change.  Lines on which a brace could be pinned to two members are looked at one by one
(``recon.solve.off_lattice.pinned_lines``); after them lines of openings on planes at which a member could touch another
(``recon.solve.off_lattice.free_lines``), which must show much more, since far more of these could be chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.frame.joints import collisions
from recon.frame.model import Member, as_tuple, section_axes
from recon.geometry.camera import project_jacobian
from recon.solve.evidence.along_line import LineEvidence, match_member
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.predictions import match_predictions
from recon.solve.evidence.scene import Scene
from recon.solve.members.stretches import best_stretch
from recon.solve.off_lattice.free_lines import loose_lines
from recon.solve.off_lattice.line_evidence import (
    Line,
    evidence_along,
    line_ends,
    openings_along,
    overlap_boxes,
)
from recon.solve.off_lattice.pinned_lines import PLAY, Pinned, pin_spots, pinned_lines

# Nats.  Rendered photos with truth: the best false pinned line had 14, the weakest true one, 4 holes in sight, 31;
# the best false loose line seen in two photos 48 (it touched nothing), true ones 103 to 404.
LEAST_PINNED = 20.0
LEAST_LOOSE = 45.0
LEAST_HOLES = 3  # distinct holes seen of a pinned brace
LEAST_LOOSE_HOLES = 6
OVERLAP = 0.1  # pitches by which solved boxes may run into one another: rounding of measured places
ROOM = 5  # holes looked at past the last one that must be there
WORTH_A_LOOK = 8.0  # nats at the first glance, which forgives most misses
MOST_LOOKS = 40  # lines looked at in full: bounds the time


@dataclass(frozen=True)
class Brace:
    """A member off the lattice.

    first : (3,) centre of hole 0, pitches.   direction : (3,) unit.   normal : (3,) unit, of one pair of faces:
    the axis of the bolts.   evidence : nats.   hits : openings found.   ends : two EndGuess (low, high).
    pins : holes in line with a hole of another member that it touches.
    """

    first: np.ndarray
    direction: np.ndarray
    normal: np.ndarray
    holes: int
    evidence: float
    hits: int
    ends: tuple
    pins: int

    @property
    def line(self) -> Line:
        return Line(self.first, self.direction, self.normal)


def find_braces(scene: Scene) -> list[Brace]:
    """Braces and other members off the lattice, most evidence first; the scene is solved but for them."""
    if not scene.photos or len(scene.candidates) < 2:
        return []
    photos = [replace(v, free=unexplained(scene, v)) for v in scene.photos]
    pictures, candidates, width, solids = scene.pictures, scene.candidates, scene.width, scene.occluders
    lines = pinned_lines(candidates, width)
    worth = glance(photos, lines, width)
    order = [i for i in np.argsort(-worth)[:MOST_LOOKS] if worth[i] > WORTH_A_LOOK]
    waiting = [
        (Line(lines.first[i], lines.direction[i], np.eye(3)[lines.normal[i]]), int(lines.steps[i]) + 1)
        for i in order
    ]
    braces: list[Brace] = []
    while True:
        trials = [
            (seen_between(photos, line, count, width, solids, candidates), line, count)
            for line, count in waiting
        ]
        waiting = [(line, count) for (total, _), line, count in trials if total > LEAST_PINNED / 2]
        trials = [t for t in trials if t[0][0] > LEAST_PINNED and t[0][1] >= LEAST_HOLES]
        best = max(trials, key=lambda t: t[0][0], default=None)
        if best is None:
            break
        waiting = [(line, count) for line, count in waiting if line is not best[1]]
        brace = _settled(photos, pictures, best[1], best[2], candidates, width, solids, braces, LEAST_PINNED)
        if brace is not None:
            braces.append(brace)
            photos, solids = _without(photos, solids, brace, width)
    for line, count in loose_lines(photos, candidates, width):
        brace = _loose(photos, pictures, line, count, candidates, width, solids, braces)
        if brace is not None:
            braces.append(brace)
            photos, solids = _without(photos, solids, brace, width)
    return sorted(braces, key=lambda b: -b.evidence)


def unexplained(scene: Scene, photo) -> np.ndarray:
    """(N,) bool: detections of a photo that no opening of the candidates accounts for."""
    free = np.ones(len(photo.openings), bool)
    for candidate in scene.candidates:
        _, seen = match_member(scene, photo, candidate)
        free[seen.hit[(seen.hit >= 0) & (seen.llr > 0)]] = False
    return free


def glance(photos, lines: Pinned, width: float) -> np.ndarray:
    """(N,) nats of what is found between the two pins, all lines at once; misses count little, nothing is hidden."""
    score = np.zeros(len(lines.steps))
    for normal in range(3):
        mine = np.nonzero(lines.normal == normal)[0]
        if not len(mine):
            continue
        inner = lines.steps[mine] - 1
        owner = np.repeat(mine, inner)
        k = np.arange(len(owner)) - np.repeat(np.cumsum(inner) - inner, inner) + 1
        centre = lines.first[owner] + k[:, None] * lines.direction[owner]
        face = np.eye(3)[normal]
        side = np.cross(face, lines.direction[owner])
        normals = np.concatenate(
            [side, -side, np.tile(face, (len(owner), 1)), np.tile(-face, (len(owner), 1))]
        )
        X = np.tile(centre, (4, 1)) + 0.5 * width * normals
        for v in photos:
            # The ellipse's shape is known for the faces along the bolts' axis only; the others are judged later.
            plain = replace(v, shape=v.shape * (np.arange(3) == normal))
            facing = ((v.camera.centre - X) * normals).sum(1) > 0
            llr = match_predictions(plain, X[facing], normals[facing], only_free=True).llr
            score += np.bincount(np.tile(owner, 4)[facing], np.maximum(llr, -0.5), minlength=len(score))
    return score


def pin_holes(line: Line, count: int, candidates, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Holes of a line in line with a hole of a candidate that touches it, (count,) bool, and the faces there that a bolt's
    head or nut or the candidate itself may cover, (4, count) bool."""
    pinned, faces = np.zeros(count, bool), np.zeros((4, count), bool)
    holes = line.first + np.arange(count)[:, None] * line.direction
    for axis in range(3):
        across = np.abs(line.turn[1:, axis])
        if across.max() < 1 - 1e-6:
            continue  # no face of the line is normal to this axis
        pair = 2 * int(across.argmax())
        spots, _ = pin_spots(candidates, width, axis)
        if not len(spots):
            continue
        here = (np.abs(holes[:, None] - spots[None]) < [PLAY + 0.02] * 3).all(2).any(1)
        pinned |= here
        faces[pair : pair + 2] |= here
    return pinned, faces


def seen_between(photos, line, count, width, solids, candidates):
    """Nats and distinct holes seen from hole 0 to the last one that must be there."""
    _, bolted = pin_holes(line, count, candidates, width)
    found = evidence_along(photos, line, count, width, solids, bolted)
    return float(found.llr.sum()), int(((found.hit >= 0) & (found.llr > 0)).any((0, 1)).sum())


def _room(line, count, width, solids, braces):
    """Holes that there is room for before and past those of a line, or None where not even these have room."""

    def free(before, after):
        grown = line.shifted(-before)
        if (
            len(solids.lo)
            and overlap_boxes(grown, count + before + after, width, solids.lo, solids.hi).max() > OVERLAP
        ):
            return False
        pair = [as_member(b, f"{i}", width) for i, b in enumerate(braces)]
        new = Member(
            "new",
            as_tuple(grown.first),
            as_tuple(line.direction),
            count + before + after,
            width,
            on_lattice=False,
        )
        return not any("new" in c[:2] for c in collisions([*pair, new]))

    if not free(0, 0):
        return None
    low = next((n for n in range(1, ROOM + 1) if not free(n, 0)), ROOM + 1) - 1
    high = next((n for n in range(1, ROOM + 1) if not free(0, n)), ROOM + 1) - 1
    return low, high


def _settled(photos, pictures, line, count, candidates, width, solids, braces, least) -> Brace | None:
    """The brace with its ends; None where it has no room, or shows too little with its ends found."""
    room = _room(line, count, width, solids, braces)
    if room is None:
        return None
    _, bolted = pin_holes(line.shifted(-ROOM), count + 2 * ROOM, candidates, width)
    ends = line_ends(photos, pictures, line, count, width, solids, bolted, room, ROOM)
    low, high = ends[0].best, ends[1].best
    line, holes = line.shifted(low), high - low + 1
    pinned, bolted = pin_holes(line, holes, candidates, width)
    found = evidence_along(photos, line, holes, width, solids, bolted)
    total = float(found.llr.sum())
    if total < least:
        return None
    return Brace(
        line.first,
        line.direction,
        line.normal,
        holes,
        total,
        int((found.hit >= 0).sum()),
        tuple(e.recounted(low) for e in ends),
        int(pinned.sum()),
    )


def _without(photos, solids, brace, width):
    """Views whose detections the brace no longer leaves free, and solids with the brace among them."""
    found = evidence_along(photos, brace.line, brace.holes, width, solids)
    photos = [replace(v, free=v.free.copy()) for v in photos]
    for v, hit, llr in zip(photos, found.hit, found.llr):
        v.free[hit[(hit >= 0) & (llr > 0)]] = False
    return photos, replace(
        solids, members=(*solids.members, as_member(brace, f"{len(solids.members)}", width))
    )


def as_member(brace: Brace, name: str, width: float) -> Member:
    """The brace as a member of a frame, ends and confidence left open."""
    return Member(
        name,
        as_tuple(np.round(brace.first, 6)),
        as_tuple(np.round(brace.direction, 9)),
        brace.holes,
        width,
        on_lattice=False,
        seen=brace.hits,
    )


def off_lattice_members(braces, width: float, labels, end_of) -> list[Member]:
    """The braces as members with ends and confidence.

    labels : at least one for each brace, iterable.   end_of : (EndGuess, way -1 or 1) -> recon.frame.model.End, as for all members.
    """
    return [
        replace(
            as_member(b, name, width),
            confidence=round(confidence(b), 3),
            ends=(end_of(b.ends[0], -1), end_of(b.ends[1], 1)),
        )
        for b, name in zip(braces, labels)
    ]


def confidence(brace: Brace) -> float:
    """Probability that the brace is exactly right: its ends' probabilities times that of its place.

    The place: even odds at half the evidence asked for, near certainty at three times that; rendered frames with
    truth showed no brace out of place, too few to fit a curve.
    """
    least = LEAST_PINNED if brace.pins >= 2 else LEAST_LOOSE
    place = 1 / (1 + np.exp(-(brace.evidence - least / 2) / (0.4 * least)))
    return float(np.clip(brace.ends[0].sure * brace.ends[1].sure * place, 0.01, 0.99))


def explained(scene: Scene, photo, members) -> np.ndarray:
    """Numbers of a photo's detections that are openings of members off the lattice (recon.frame.model.Member)."""
    photo = replace(photo, free=unexplained(scene, photo))
    hits = [np.zeros(0, int)]
    for m in members:
        line = Line(np.asarray(m.first, float), np.asarray(m.direction, float), section_axes(m)[0])
        others = replace(scene.occluders, members=tuple(o for o in members if o is not m))
        found = evidence_along([photo], line, m.holes, scene.width, others)
        hits.append(found.hit[(found.hit >= 0) & (found.llr > 0)])
    return np.unique(np.concatenate(hits))


def _loose(photos, pictures, line, count, candidates, width, solids, braces) -> Brace | None:
    """A member on a line that no two pins fix: its best stretch, its place by least squares, and much evidence."""
    for _ in range(2):
        reach = ROOM
        wide = line.shifted(-reach)
        _, bolted = pin_holes(wide, count + 2 * reach, candidates, width)
        found = evidence_along(photos, wide, count + 2 * reach, width, solids, bolted)
        a, b, total = best_stretch(found.llr.sum((0, 1)))
        if total < LEAST_LOOSE / 2 or b - a < LEAST_LOOSE_HOLES:
            return None
        line, count = refined(photos, wide, found, width).shifted(a), b - a
    found = evidence_along(photos, line, count, width, solids, pin_holes(line, count, candidates, width)[1])
    hit = (found.hit >= 0) & (found.llr > 0)
    in_photos = (hit.sum((1, 2)) >= 3).sum()
    slanted = np.abs(line.direction).max() < 1 - 1e-6
    # One photo sees a member along an axis alike at many depths; a slanted one has its pitch at one depth only.
    if hit.any((0, 1)).sum() < LEAST_LOOSE_HOLES or (in_photos < 2 and not (slanted and len(photos) == 1)):
        return None
    if on_lattice(line, count, candidates, width) or not touches(line, count, solids, width):
        return None
    least = LEAST_LOOSE * (1 if len(photos) > 1 else 2)
    return _settled(photos, pictures, line, count, candidates, width, solids, braces, least)


OFF = 0.15  # pitches off the lattice from which a member is called off it: more than play and error


def on_lattice(line: Line, count: int, candidates, width: float) -> bool:
    """Does a line along an axis fit the lattice of a candidate that it touches or runs beside?"""
    axis = int(np.abs(line.direction).argmax())
    if np.abs(line.direction[axis]) < 1 - 1e-6:
        return False
    for s in candidates:
        gap = line.first - s.first
        phase = (
            np.abs(gap - np.rint(gap / 0.5) * 0.5) if width != round(width) else np.abs(gap - np.rint(gap))
        )
        # Across, what is flush with the candidate's face is in place whatever the phase.
        others = [j for j in range(3) if j != axis]
        along_ok = abs(gap[axis] - np.rint(gap[axis])) < OFF
        across_ok = all(phase[j] < OFF or abs(abs(gap[j]) - width) < 0.02 for j in others)
        if along_ok and across_ok:
            return True
    return False


def touches(line: Line, count: int, solids: Occluders, width: float) -> bool:
    """Does a member on the line lie flush with a box, with a good part of a hole's room in common?"""
    thin = overlap_boxes(line, count, width, solids.lo, solids.hi)
    near = np.nonzero(np.abs(thin) < 0.05)[0]
    for axis in range(3):
        if np.abs(line.turn[1:, axis]).max() < 1 - 1e-6:
            continue
        # Pushed half-way in along the face's axis, a member that is flush runs into the box.
        for way in (-0.4, 0.4):
            pushed = replace(line, first=line.first + way * np.eye(3)[axis])
            if (
                len(near)
                and overlap_boxes(pushed, count, width, solids.lo[near], solids.hi[near]).max() > 0.3
            ):
                return True
    return False


def refined(photos, line: Line, found: LineEvidence, width: float) -> Line:
    """The line moved within the plane of its face by least squares over the openings found along it.

    It keeps its place along ``normal``, where it lies flush with another member; a line along an axis stays so.
    """
    count = found.llr.shape[2]
    slanted = np.abs(line.direction).max() < 1 - 1e-6
    for _ in range(3):
        X, _ = openings_along(line, count, width)
        rows, rest = [], []
        k = np.arange(count) - (count - 1) / 2
        side = np.cross(line.normal, line.direction)
        for v, hit, llr in zip(photos, found.hit, found.llr):
            f, s = np.nonzero((hit >= 0) & (llr > 1))
            if not len(f):
                continue
            px, _, by_point = project_jacobian(v.camera, X[f, s])
            o = v.openings[hit[f, s]]
            sigma = np.hypot(0.3, 0.08 * o["minor"])[:, None]
            J = np.stack([by_point @ line.direction, by_point @ side, (by_point @ side) * k[s][:, None]], 2)
            rows.append((J / sigma[..., None]).reshape(-1, 3))
            rest.append(((np.c_[o["x"], o["y"]] - px) / sigma).ravel())
        if not rows:
            return line
        J, r = np.concatenate(rows), np.concatenate(rest)
        if not slanted:
            J = J[:, :2]
        w = np.sqrt(1 / (1 + (r / 2.5) ** 2))  # Cauchy weights: a wrong hit has little say
        step = np.linalg.lstsq(J * w[:, None], r * w, rcond=None)[0]
        turn = step[2] if slanted else 0.0
        middle = line.first + (count - 1) / 2 * line.direction + step[0] * line.direction + step[1] * side
        direction = line.direction + turn * side
        direction /= np.linalg.norm(direction)
        line = replace(line, first=middle - (count - 1) / 2 * direction, direction=direction)
    return line
