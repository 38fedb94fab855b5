"""From photos read one by one to one scene: which of them show the frame, and what they show together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from recon.solve.evidence.floor import floor_grey
from recon.solve.evidence.scene import Scene
from recon.solve.members.selection import members_evidence
from recon.solve.multiview.agreement import shared_rows
from recon.solve.multiview.groups import as_registered, grown_groups, laid_again_on_others, laid_rivals
from recon.solve.multiview.hypotheses import (
    LEAST_EVIDENCE,
    Posed,
    RegisteredPhotos,
    first_members,
    register_photos,
)
from recon.solve.multiview.mirrored import mirrored_beside
from recon.solve.multiview.rounds import Progress, find_members, find_own_places
from recon.solve.multiview.self_fits import (
    SAME_FLOOR,
    TurnedFloors,
    mirrored_by_members,
    mirrored_on_floor,
    turned_on_floor,
)
from recon.solve.off_lattice.braces import find_braces
from recon.solve.photo.photo_reading import PhotoReading
from recon.workers import ALONE, Workers

LEAST_SHARED = 0.55  # rendered photos of one frame have 0.8 and more, of another frame 0.1 to 0.5
# Of what the members of two rounds explain, which photos must explain when they are turned, to be looked at
# further: of a frame that fits itself all is explained in every turn.  This project's choice.
NEARLY_ALL = 0.95
STRANGER = "most of its rows lie on members that the other photos do not show; is it another frame?"


def assemble(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None = None,
    workers: Workers = ALONE,
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
    workers : Workers
        Where ways to lay the photos on one another are tried.
    """
    return find_own_places(_largest_group(readings, pictures, width, progress, workers), workers)


def _largest_group(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None,
    workers: Workers,
) -> Scene:
    best = _solve_group(readings, pictures, width, progress, workers)
    used = {p.name for p in best.photos}
    rest = [r for r in readings if r.photo is not None and r.name not in used]
    if len(rest) <= len(used):
        return best
    other = _solve_group(rest, pictures, width, progress, workers)
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
    workers: Workers,
) -> Scene:
    """Members from all photos that fit the best one; those that do not are tried in two more ways.

    They are laid on the members; and groups are grown from each photo, for the one that tells most by itself
    may tell something wrong.
    """
    greys = {r.name: floor_grey(pictures[r.name]) for r in readings if r.name in pictures}
    registered = register_photos(readings, width, greys, workers)
    if not registered.photos:
        return registered.scene(pictures, width)
    registered = laid_again_on_others(registered, readings, width, greys, workers)
    registered, scene = drop_outlier_photos(registered, pictures, width, progress, workers)
    if scene.candidates and registered.set_aside:
        again = retry_set_aside(registered, readings, scene)
        if again is not registered:
            scene = _more(scene, drop_outlier_photos(again, pictures, width, progress, workers)[1])
    if len(scene.photos) == sum(r.photo is not None for r in readings):
        return scene
    group = grown_groups(readings, width, greys, workers)[0]
    if len(group.names) < max(2, len(scene.photos)):
        return scene
    grown = as_registered(group, readings)
    return _more(scene, drop_outlier_photos(grown, pictures, width, progress, workers)[1])


def _more(a: Scene, b: Scene) -> Scene:
    """Of two scenes the one of more photos, or of as many the one whose members explain more."""
    return max(a, b, key=lambda s: (len(s.photos), members_evidence(s)))


def drop_outlier_photos(
    registered: RegisteredPhotos,
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None = None,
    workers: Workers = ALONE,
) -> tuple[RegisteredPhotos, Scene]:
    """:func:`find_members`, and again without the photo that fits worst, until all that are left fit.

    The floor vouches for a photo that shows it as another does, whatever else it shows; a photo that shows it
    in a mirror goes, and one in whose mirror the members explain far more.  Where the frame fits itself in
    several turns, the photos are turned until they show one floor.

    Returns
    -------
    What is left of the registered photos, and the scene that they show.
    """
    while True:
        scene = find_members(registered, pictures, width, progress, workers=workers)
        if len(scene.photos) < 2 or not scene.candidates:
            return registered, scene
        floors = TurnedFloors(scene)
        mirrored = mirrored_on_floor(floors)
        if mirrored is None:
            mirrored = mirrored_by_members(registered, floors)
        if mirrored is not None:
            others = [p.name for i, p in enumerate(scene.photos) if i != mirrored]
            registered = registered.without([mirrored], mirrored_beside(others))
            continue
        share = shared_rows(scene, registered.lattices)
        share[floors.shared().max(axis=1) > SAME_FLOOR] = 1.0
        worst = int(share.argmin())
        if share[worst] >= LEAST_SHARED:
            return _on_one_floor(registered, floors, progress, workers)
        if len(scene.photos) == 2:
            worst = 1  # of two that do not agree, the one that tells more by itself (first) stays
        registered = registered.without([worst], STRANGER)


def _on_one_floor(
    registered: RegisteredPhotos, floors: TurnedFloors, progress: Progress | None, workers: Workers
) -> tuple[RegisteredPhotos, Scene]:
    """The photos and the scene, or both anew with photos turned, where floor and members explain more so."""
    scene = floors.scene
    turned, gain = turned_on_floor(registered, floors)
    if gain <= 0 or _first_nats(turned, scene) + gain < NEARLY_ALL * _first_nats(registered, scene):
        return registered, scene
    again = find_members(turned, scene.pictures, scene.width, progress, workers=workers)
    if _with_braces(again) + gain <= _with_braces(scene):
        return registered, scene
    return turned, again


def _first_nats(registered: RegisteredPhotos, scene: Scene) -> float:
    """Nats of the members that two rounds find in photos of a scene."""
    posed = list(zip(registered.photos, registered.lattices))
    return members_evidence(first_members(posed, scene.width, scene.pictures))


def _with_braces(scene: Scene) -> float:
    """Nats of all members, those off the lattice, too: a brace tells the front of a box from its back."""
    return members_evidence(scene) + sum(b.evidence for b in find_braces(scene))


def retry_set_aside(
    registered: RegisteredPhotos, readings: Sequence[PhotoReading], scene: Scene
) -> RegisteredPhotos:
    """Photos set aside, laid on the candidates known now, whatever lattice they had by themselves."""
    names = {name for name, _ in registered.set_aside}
    back: dict[str, Posed] = {}
    for reading in readings:
        if reading.name not in names or reading.photo is None:
            continue
        laid = laid_rivals(reading, scene)
        if laid and laid[0].nats > LEAST_EVIDENCE:
            back[reading.name] = laid[0].posed
    if not back:
        return registered
    return RegisteredPhotos(
        (*registered.photos, *(p for p, _ in back.values())),
        (*registered.lattices, *(x for _, x in back.values())),
        tuple((n, why) for n, why in registered.set_aside if n not in back),
    )
