"""From photos read one by one to one scene: which of them show the frame, and what they show together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.solve.evidence.along_line import along_lines, candidate_openings
from recon.solve.evidence.scene import Scene
from recon.solve.members.selection import members_evidence
from recon.solve.multiview.groups import as_registered, best_group, laid_reading
from recon.solve.multiview.hypotheses import LEAST_EVIDENCE, Posed, RegisteredPhotos, register_photos
from recon.solve.multiview.rounds import Progress, find_members
from recon.solve.photo.photo_lattice import PhotoLattice
from recon.solve.photo.photo_reading import PhotoReading

LEAST_SHARED = 0.55  # rendered photos of one frame have 0.8 and more, of another frame 0.1 to 0.5
CONFIRMED = 8.0  # nats from the other photos for a member to count as shown by them
PLAIN = 6  # openings in plain sight from which a member should be shown; this project's choice
STRANGER = "most of its rows lie on members that the other photos do not show; is it another frame?"


def assemble(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None = None,
) -> Scene:
    """Members from the largest group of photos that fit one another.

    The photo that tells most by itself comes first; where more photos are left out than taken in, it may be
    the stranger, so the others are tried without it.

    Parameters
    ----------
    readings : Sequence[PhotoReading]
        Photos read one by one.
    pictures : Mapping[str, array]
        Photo name -> (H, W, 3) uint8 BGR.
    width : float
        Of the members, pitches.
    progress : Progress or None
        Called with the fraction that is done.
    """
    best = _solve_group(readings, pictures, width, progress)
    used = {p.name for p in best.photos}
    rest = [r for r in readings if r.photo is not None and r.name not in used]
    if len(rest) <= len(used):
        return best
    other = _solve_group(rest, pictures, width, progress)
    if len(other.photos) <= len(used):
        return best
    known = {name for name, _ in other.set_aside} | {p.name for p in other.photos}
    aside = [(n, "it does not show the frame that most of the photos show") for n in sorted(used)]
    aside += [(n, why) for n, why in best.set_aside if n not in known]
    return replace(other, set_aside=(*other.set_aside, *aside))


def _solve_group(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None,
) -> Scene:
    """Members from all photos that fit the best one; those that do not are tried in two more ways.

    They are laid on the members; and groups are grown from each photo, for the one that tells most by itself
    may tell something wrong.
    """
    registered = register_photos(readings, width)
    if not registered.photos:
        return registered.scene(pictures, width)
    registered, scene = drop_outlier_photos(registered, pictures, width, progress)
    if scene.candidates and registered.set_aside:
        again = retry_set_aside(registered, readings, scene)
        if again is not registered:
            scene = _more(scene, drop_outlier_photos(again, pictures, width, progress)[1])
    if len(scene.photos) == sum(r.photo is not None for r in readings):
        return scene
    group = best_group(readings, width)
    if group is None or len(group.names) < max(2, len(scene.photos)):
        return scene
    grown = as_registered(group, readings)
    return _more(scene, drop_outlier_photos(grown, pictures, width, progress)[1])


def _more(a: Scene, b: Scene) -> Scene:
    """Of two scenes the one of more photos, or of as many the one whose members explain more."""
    return max(a, b, key=lambda s: (len(s.photos), members_evidence(s)))


def drop_outlier_photos(
    registered: RegisteredPhotos,
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None = None,
) -> tuple[RegisteredPhotos, Scene]:
    """:func:`find_members`, and again without the photo that fits worst, until all that are left fit.

    Returns
    -------
    What is left of the registered photos, and the scene that they show.
    """
    while True:
        scene = find_members(registered, pictures, width, progress)
        if len(scene.photos) < 2 or not scene.candidates:
            return registered, scene
        share = shared_rows(scene, registered.lattices)
        worst = int(share.argmin())
        if share[worst] >= LEAST_SHARED:
            return registered, scene
        if len(scene.photos) == 2:
            worst = 1  # of two that do not agree, the one that tells more by itself (first) stays
        registered = registered.without([worst], STRANGER)


def shared_rows(scene: Scene, lattices: Sequence[PhotoLattice]) -> FloatArray:
    """How well each photo and the others agree on what is there: (V,) 0 to 1.

    The share of the photo's rows, by evidence, that lies on members which the other photos confirm, times the
    share of the members confirmed by the others, and in plain sight here, that this photo does show.  A photo
    of another frame can be laid on this one so that a member or two coincide; then both shares are small.
    """
    shape = (len(scene.photos), len(scene.candidates))
    hits, votes, plain = [], np.zeros(shape), np.zeros(shape)
    behind = [scene.occluders] * shape[1]
    for j, found in enumerate(along_lines(scene.photos, candidate_openings(scene), behind)):
        votes[:, j], plain[:, j] = found.llr.sum((1, 2)), found.visible.sum((1, 2))
        hits.append([h[(h >= 0) & (nats > 0)] for h, nats in zip(found.hit, found.llr)])
    out = np.ones(len(scene.photos))
    for i, lattice in enumerate(lattices):
        confirmed = [j for j in range(shape[1]) if np.delete(votes[:, j], i).clip(0).sum() > CONFIRMED]
        explained = np.concatenate([hits[j][i] for j in confirmed]) if confirmed else np.zeros(0, int)
        there = [j for j in confirmed if plain[i, j] >= PLAIN]
        weight = plain[i, there]
        shown = (weight * (votes[i, there] > 0)).sum() / weight.sum() if there else 0.0
        total, shared = _evidence_of_rows(lattice, explained)
        out[i] = shown * shared / total if total else 0.0
    return out


def _evidence_of_rows(lattice: PhotoLattice, explained: np.ndarray) -> tuple[float, float]:
    """Nats of a photo's sure rows, and of those of them whose openings are among the explained ones."""
    total = shared = 0.0
    for row, guesses in zip(lattice.placed.rows, lattice.guesses):
        if guesses and np.exp(guesses[0].log_p) > 0.5:
            total += row.evidence
            shared += row.evidence * (np.isin(row.index, explained).mean() > 0.4)
    return total, shared


def retry_set_aside(
    registered: RegisteredPhotos, readings: Sequence[PhotoReading], scene: Scene
) -> RegisteredPhotos:
    """Photos set aside, laid on the candidates known now, whatever lattice they had by themselves."""
    names = {name for name, _ in registered.set_aside}
    back: dict[str, Posed] = {}
    for reading in readings:
        if reading.name not in names or reading.photo is None:
            continue
        laid = laid_reading(reading, scene)
        if laid is not None and laid.nats > LEAST_EVIDENCE:
            back[reading.name] = laid.posed
    if not back:
        return registered
    return RegisteredPhotos(
        (*registered.photos, *(p for p, _ in back.values())),
        (*registered.lattices, *(x for _, x in back.values())),
        tuple((n, why) for n, why in registered.set_aside if n not in back),
    )
