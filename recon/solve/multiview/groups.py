"""Groups of photos grown from each photo in turn: its members first, the others laid on them one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.solve.evidence.scene import Scene
from recon.solve.members.lines import candidate_lines
from recon.solve.members.selection import members_evidence, select_members
from recon.solve.multiview.cameras import adjust_cameras
from recon.solve.multiview.hypotheses import LEAST_EVIDENCE, RegisteredPhotos, upright_log_prior
from recon.solve.multiview.laying import Laid, Posed, lay_on_members
from recon.solve.photo.photo_lattice import laid_again
from recon.solve.photo.photo_reading import PhotoReading

MOST_BASES = 4  # photos that a group is grown from, those that tell most; bounds the time
MOST_CAMERAS = 3  # of a photo that are tried on known members, best first; bounds the time
APART_DEGREES = 1.0  # cameras of a photo nearer to each other than this come to the same
LEAST_SHOWN = 0.3  # of what a photo tells by itself, that it must tell of the members known
NOT_LAID = "its members do not fit those of the other photos; another frame?"


@dataclass(frozen=True)
class Group:
    """Photos in one world with their lattices, and the nats of the members that they show together."""

    names: tuple[str, ...]
    posed: tuple[Posed, ...]
    scene: Scene
    nats: float


def best_group(readings: Sequence[PhotoReading], width: float) -> Group | None:
    """Of the groups grown from one photo each the one whose members explain most; None without photos."""
    read = sorted((r for r in readings if r.photo is not None), key=lambda r: -r.worth)
    groups = [grown_group(base, read, width) for base in read[:MOST_BASES]]
    return max(groups, key=lambda g: g.nats) if groups else None


def grown_group(base: PhotoReading, readings: Sequence[PhotoReading], width: float) -> Group:
    """The photos that show the members of one, laid on them one after another, best-fitting first."""
    names = [base.name]
    posed = [base.solutions[0]]
    scene = _members(posed, width)
    waiting = [r for r in readings if r.name != base.name]
    while waiting:
        trials = [(r, laid) for r in waiting if (laid := laid_reading(r, scene)) is not None]
        if not trials:
            break
        reading, laid = max(trials, key=lambda t: t[1].nats / np.sqrt(t[0].worth + 1))
        if laid.nats < max(LEAST_EVIDENCE, LEAST_SHOWN * reading.worth):
            break
        waiting = [r for r in waiting if r is not reading]
        names.append(reading.name)
        posed.append(laid.posed)
        scene = _members(posed, width)
        posed = [
            (p, laid_again(lattice, p.camera, p.openings, width))
            for p, (_, lattice) in zip(scene.photos, posed)
        ]
    nats = members_evidence(scene) + sum(upright_log_prior(p.camera) for p in scene.photos)
    return Group(tuple(names), tuple(posed), scene, nats)


def _members(posed: Sequence[Posed], width: float) -> Scene:
    """The members of photos in one world, with the cameras adjusted to them."""
    lines = candidate_lines([lattice for _, lattice in posed])
    scene = adjust_cameras(select_members(Scene(tuple(p for p, _ in posed), {}, width), lines))
    return select_members(scene, lines)


def laid_reading(reading: PhotoReading, scene: Scene) -> Laid | None:
    """A photo laid on the members of a scene with that of its cameras that shows most of them."""
    trials = [laid for s in _apart(reading.solutions) if (laid := lay_on_members(*s, scene)) is not None]
    return max(trials, key=lambda t: t.nats) if trials else None


def _apart(solutions: Sequence[Posed]) -> list[Posed]:
    """The first few solutions whose cameras differ."""
    out: list[Posed] = []
    for s in solutions:
        if len(out) < MOST_CAMERAS and not any(_near(s, kept) for kept in out):
            out.append(s)
    return out


def _near(a: Posed, b: Posed) -> bool:
    turned = np.degrees(np.linalg.norm(a[0].camera.R - b[0].camera.R) / np.sqrt(2))
    return bool(turned < APART_DEGREES and abs(np.log(a[0].camera.f / b[0].camera.f)) < 0.03)


def as_registered(group: Group, readings: Sequence[PhotoReading]) -> RegisteredPhotos:
    """A group as registered photos; the photos that are not in it are set aside."""
    aside = tuple(
        (r.name, r.reason if r.photo is None else NOT_LAID) for r in readings if r.name not in group.names
    )
    return RegisteredPhotos(tuple(p for p, _ in group.posed), tuple(x for _, x in group.posed), aside)
