"""Groups of photos grown from each photo in turn: its members first, the others laid on them one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from recon.solve.evidence.candidate import LEAST_EVIDENCE as MEMBER
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.multiview.hypotheses import (
    LEAST_EVIDENCE,
    MOST_ASKED,
    MOST_RIVALS,
    RIVAL,
    Posed,
    RegisteredPhotos,
    first_evidence,
    first_members,
    scene_nats,
)
from recon.solve.multiview.laying import Laid, lay_on_members
from recon.solve.photo.photo_lattice import PhotoLattice, laid_again
from recon.solve.photo.photo_reading import PhotoReading, explained_nats
from recon.workers import ALONE, Workers

MOST_BASES = 4  # photos that a group is grown from, those that tell most; bounds the time
MOST_CAMERAS = 3  # of a photo that are tried on known members, best first; bounds the time
APART_DEGREES = 1.0  # cameras of a photo nearer to each other than this come to the same
# Of what a photo's rows tell by themselves, that it must tell of the members known: photos of made-up frames
# 0.45 and more, of other frames 0.18 at most.
LEAST_SHOWN = 0.25
NOT_LAID = "its members do not fit those of the other photos; another frame?"


@dataclass(frozen=True)
class Group:
    """Photos in one world with their lattices, and the nats of the members that they show together."""

    names: tuple[str, ...]
    posed: tuple[Posed, ...]
    scene: Scene
    nats: float


def grown_groups(
    readings: Sequence[PhotoReading],
    width: float,
    greys: Mapping[str, np.ndarray],
    workers: Workers = ALONE,
) -> list[Group]:
    """The groups grown from each of the photos that tell most, those that explain most first."""
    read = sorted((r for r in readings if r.photo is not None), key=lambda r: -r.worth)
    grow = partial(grown_group, readings=read, width=width, greys=greys)
    groups = workers.map(grow, read[:MOST_BASES])
    return sorted(groups, key=lambda g: -g.nats)


def grown_group(
    base: PhotoReading,
    readings: Sequence[PhotoReading],
    width: float,
    greys: Mapping[str, np.ndarray],
) -> Group:
    """The photos that show the members of one, laid on them one after another, best-fitting first."""
    names = [base.name]
    scene, posed = _members([base.solutions[0]], width, greys)
    waiting = [r for r in readings if r.name != base.name]
    while waiting:
        trials = [(r, laid) for r in waiting if (laid := laid_rivals(r, scene))]
        if not trials:
            break
        reading, rivals = max(trials, key=lambda t: t[1][0].nats / np.sqrt(t[0].worth + 1))
        if rivals[0].nats < max(LEAST_EVIDENCE, LEAST_SHOWN * _told(reading)):
            break
        waiting = [r for r in waiting if r is not reading]
        names.append(reading.name)
        grown = [_members([*posed, laid.posed], width, greys) for laid in rivals]
        scene, posed = max(grown, key=lambda g: scene_nats(g[0]))
    return Group(tuple(names), tuple(posed), scene, scene_nats(scene))


def _told(reading: PhotoReading) -> float:
    """Nats that a photo tells by itself."""
    return reading.worth if reading.lattice is None else max(reading.worth, explained_nats(reading.lattice))


def laid_again_on_others(
    registered: RegisteredPhotos,
    readings: Sequence[PhotoReading],
    width: float,
    greys: Mapping[str, np.ndarray],
    workers: Workers = ALONE,
) -> RegisteredPhotos:
    """Each photo laid on the members that the others show, where all then explain a member's worth more.

    Only photos whose camera is free, of frames bolted by hand: others are sure of their lattice.  Of many
    photos those that were registered first are asked: what each of the others is laid on grows no further.
    """
    posed = list(zip(registered.photos, registered.lattices))
    by_name = {r.name: r for r in readings}
    if len(posed) < 2 or not any(p.prior for p, _ in posed):
        return registered
    # Of the photos that are asked, as they lie now: their nats, and the members of the last ones.
    every = tuple(range(len(posed)))
    known: dict[tuple[int, ...], float] = {} if registered.nats is None else {every: registered.nats}
    scenes: dict[tuple[int, ...], Scene] = {}
    for i, (photo, _) in enumerate(list(posed)):
        if photo.prior is None:
            continue
        others = [j for j in range(len(posed)) if j != i][:MOST_ASKED]
        asked = tuple(sorted([i, *others]))
        if tuple(others) not in scenes:
            scenes = {tuple(others): _members([posed[j] for j in others], width, greys)[0]}
        scene = scenes[tuple(others)]
        laid = [x for x in laid_rivals(by_name[photo.name], scene, workers) if x.nats >= LEAST_EVIDENCE]
        if not laid:
            continue
        trials = [[x.posed if j == i else posed[j] for j in asked] for x in laid]
        if asked not in known:
            trials.append([posed[j] for j in asked])
        explained = workers.map(partial(first_evidence, width=width, greys=greys), trials)
        now = known[asked] if asked in known else explained.pop()
        best = None
        for x, nats in zip(laid, explained):
            if nats > now + MEMBER:
                best, now = x, nats
        if best is not None:
            posed[i], known, scenes = best.posed, {}, {}
        known[asked] = now
    return RegisteredPhotos(*_side_by_side(posed), registered.set_aside)


def _side_by_side(posed: Sequence[Posed]) -> tuple[tuple[PosedPhoto, ...], tuple[PhotoLattice, ...]]:
    """The photos, and their lattices."""
    return tuple(p for p, _ in posed), tuple(x for _, x in posed)


def _members(
    posed: Sequence[Posed], width: float, greys: Mapping[str, np.ndarray]
) -> tuple[Scene, list[Posed]]:
    """The members of photos in one world, with the cameras adjusted to them, and the photos with these."""
    scene = first_members(posed, width, greys)
    again = [(p, laid_again(x, p.camera, p.openings, width)) for p, (_, x) in zip(scene.photos, posed)]
    return scene, again


def laid_rivals(reading: PhotoReading, scene: Scene, workers: Workers = ALONE) -> list[Laid]:
    """A photo laid on the members of a scene with the camera and in the turn that show most, and others.

    What the members explain then, all photos together, decides between them.
    """
    lay = partial(_laid, scene=replace(scene, pictures={}))
    found = [laid for each in workers.map(lay, _apart(reading.solutions)) for laid in each]
    found.sort(key=lambda x: -x.nats)
    out: list[Laid] = []
    for laid in found:
        if laid.nats >= RIVAL * found[0].nats and not any(_near(laid.posed, k.posed) for k in out):
            out.append(laid)
    return out[:MOST_RIVALS]


def _laid(solution: Posed, scene: Scene) -> list[Laid]:
    return lay_on_members(*solution, scene)


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
    return RegisteredPhotos(*_side_by_side(group.posed), aside)
