"""All photos in one world: each registered on those before; of rival hypotheses that which explains most."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np

from recon.geometry.camera import Camera
from recon.solve.evidence.floor import shared_floor
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.evidence.scene import Scene, SetAside
from recon.solve.members.lines import candidate_lines
from recon.solve.members.selection import members_evidence, select_members
from recon.solve.multiview.cameras import adjust_cameras
from recon.solve.multiview.registration import (
    Cells,
    KeptScores,
    Placement,
    cells_of,
    merged,
    moved_lattice,
    register,
    together,
)
from recon.solve.photo.photo_lattice import PhotoLattice
from recon.solve.photo.photo_reading import PhotoReading
from recon.workers import ALONE, Workers

LEAST_SHARE = 0.6  # of the evidence of the poorer photo by itself; true pairs of made-up frames have 1.3 and
# more, pairs of different frames 0.8 and less; the rest is settled by shared_rows
LEAST_EVIDENCE = 40.0  # nats: a photo that shares fewer openings with the rest is not forced in
RIVAL = 0.65  # of the best turn's evidence; made-up shelves that nearly fit themselves had 0.73 and more in
# the right turn
MOST_RIVALS = 4  # the right turn came third at worst
# Where there are more, in a frame of MANY members and more, so many best by the members found at first
# sight take their place: the right one came first so on made-up scaffolds of 48 to 204 members.  Of
# rendered frames, which have 5 to 26 members, members at first sight tell no better than openings.  Those
# that are looked at so are MOST_LOOKED, by openings: the right one came sixth at worst.
MANY, MOST_LOOKED, MOST_RANKED = 35, 8, 2
MOST_TRIALS = 16  # combinations that are all tried; of more, one photo's hypotheses after another.
# Both only bound the time: what is left is settled by the members
# Photos that are tried again at a time, those that fitted best before, and photos that a placement or a
# hypothesis is judged by; both bound the time of many photos, and change nothing for four.
MOST_AGAIN, MOST_ASKED = 4, 6
MOST_TURNS = 4  # of going through all photos' hypotheses; bounds the time
NOT_ASKED = -1  # in place of the number of a hypothesis
# Concentration of a camera's roll (von Mises): upside down 12 nats, on its side 6.  This project's choice;
# pictures that are shown on their side are rare, and nearly none are shown upside down.
LEVEL = 6.0

Posed = tuple[PosedPhoto, PhotoLattice]  # a photo in one world and its lattice there
Placed = tuple[Placement, Posed]  # where a photo may lie in another world, and the solution of it that may


@dataclass(frozen=True)
class RegisteredPhotos:
    """Photos in one world.

    Attributes
    ----------
    photos, lattices : tuple[PosedPhoto, ...] or tuple[PhotoLattice, ...]
        Side by side, the photo that the world is of first.
    set_aside : tuple[SetAside, ...]
        Photos that are not used, and why.
    nats : float or None
        What :func:`first_evidence` gives for them, where it was asked.

    Examples
    --------
    >>> RegisteredPhotos().scene({}, 1.5).width
    1.5
    """

    photos: tuple[PosedPhoto, ...] = ()
    lattices: tuple[PhotoLattice, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    nats: float | None = None

    def scene(self, pictures: Mapping[str, np.ndarray], width: float) -> Scene:
        """The scene that the search for members begins with: photos, no candidates."""
        return Scene(self.photos, pictures, width, set_aside=self.set_aside)

    def without(self, indices: Iterable[int], why: str) -> RegisteredPhotos:
        """The photos less those with the given numbers, which are set aside."""
        out = set(indices)
        keep = [i for i in range(len(self.photos)) if i not in out]
        return RegisteredPhotos(
            tuple(self.photos[i] for i in keep),
            tuple(self.lattices[i] for i in keep),
            (*self.set_aside, *((self.photos[i].name, why) for i in sorted(out))),
        )


@dataclass(frozen=True)
class _Read:
    """A photo that was read by itself with success, with its likely solutions, best first."""

    name: str
    worth: float
    solutions: list[Posed]


def register_photos(
    readings: Sequence[PhotoReading],
    width: float,
    greys: Mapping[str, np.ndarray],
    workers: Workers = ALONE,
) -> RegisteredPhotos:
    """All photos in the world of the best one, one after another, the best-fitting first.

    A photo whose openings do not fit the others' members is set aside, named and not forced in.

    Parameters
    ----------
    readings : Sequence[PhotoReading]
        Photos read one by one.
    width : float
        Of the members, pitches.
    greys : Mapping[str, array]
        Photo name -> its picture as :func:`recon.solve.evidence.floor.floor_grey` gives it.
    workers : Workers
        Where placements and hypotheses are tried.
    """
    waiting, aside = _read_and_unread(readings)
    if not waiting:
        return RegisteredPhotos(set_aside=tuple(aside))
    best, *waiting = waiting
    hypotheses: list[list[Posed]] = [best.solutions[:1]]
    fits: dict[str, float] = {}
    on_best: dict[str, list[Placed]] = {}  # placements of each photo on the best one alone
    kept: dict[str, dict[int, KeptScores]] = {}  # of each photo: those registered keep their cameras
    many = False
    while waiting:
        first = [h[0] for h in hypotheses]
        likely = sorted(waiting, key=lambda r: -fits.get(r.name, np.inf))[:MOST_AGAIN] if fits else waiting
        fitting = _best_fitting(likely, first, width, fits, on_best, kept, workers)
        if len(likely) < len(waiting) and (fitting is None or not _is_enough(*fitting, best)):
            fitting = _best_fitting(waiting, first, width, fits, on_best, kept, workers)
        if fitting is None:
            break
        read, found = fitting
        waiting = [r for r in waiting if r is not read]
        if not _is_enough(read, found, best):
            aside.append((read.name, "its members do not fit those of the other photos; another frame?"))
            continue
        rivals, ranked = _rivals(found, first, width, workers)
        many |= ranked
        if any(len(h) > 1 for h in hypotheses):
            # The photos registered so far may lie wrongly themselves: ask the first alone, too.
            alone = on_best.get(read.name) or _placements(read, first[:1], width)
            rivals = _with_more(rivals, _rivals(alone, first[:1], width, workers)[0])
        hypotheses.append([_moved(posed, place) for place, posed in rivals])
    aside += [(r.name, "it shows no member that the other photos show") for r in waiting]
    posed, nats = best_hypotheses(hypotheses, width, greys, workers, one_at_a_time=many)
    return RegisteredPhotos(tuple(p for p, _ in posed), tuple(x for _, x in posed), tuple(aside), nats)


def _read_and_unread(readings: Sequence[PhotoReading]) -> tuple[list[_Read], list[SetAside]]:
    """The photos that have a lattice, most evidence first, and those that have none, with the reason.

    The world is that of the first, so it should be right: rival solutions of a photo share its evidence.
    """
    read, aside = [], []
    for r in readings:
        if r.photo is None or r.lattice is None:
            aside.append((r.name, r.reason))
        else:
            read.append(_Read(r.name, r.worth, r.rivals))
    return sorted(read, key=lambda r: -r.worth / len(r.solutions)), aside


def _moved(posed: Posed, place: Placement) -> Posed:
    photo, lattice = posed
    moved = moved_lattice(lattice, place.turn, place.shift)
    return with_camera(photo, moved.camera), moved


def _placements(read: _Read, known: Sequence[Posed], width: float) -> list[Placed]:
    """Placements of a photo on registered ones, best first, each with the solution that it is of."""
    numbered, _ = _numbered_placements((read, {}), *_shown(known), width)
    return [(place, read.solutions[k]) for place, k in numbered]


def _shown(known: Sequence[Posed]) -> tuple[Cells, list[PosedPhoto]]:
    """The holes that registered photos show, and those of the photos that are asked."""
    cells = merged(together([cells_of(lattice) for _, lattice in known]))
    return cells, [photo for photo, _ in known[:MOST_ASKED]]


def _numbered_placements(
    asked: tuple[_Read, dict[int, KeptScores]], cells: Cells, photos: Sequence[PosedPhoto], width: float
) -> tuple[list[tuple[Placement, int]], dict[int, KeptScores]]:
    """:func:`_placements` with the numbers of the solutions, which mean the same in another process.

    With a photo come, and go, the scores that are kept of each of its solutions, by number.
    """
    read, kept = asked
    found = [
        (p, k)
        for k, s in enumerate(read.solutions)
        for p in register(*s, cells, width, photos, kept=kept.setdefault(k, {}))
    ]
    return sorted(found, key=lambda f: -f[0].score), kept


def _is_enough(read: _Read, found: list[Placed], best: _Read) -> bool:
    """Does a photo share enough openings with the others, for its own evidence and that of the first?"""
    score = found[0][0].score
    return score >= LEAST_EVIDENCE and score >= LEAST_SHARE * min(read.worth, best.worth)


def _best_fitting(
    waiting: Sequence[_Read],
    known: Sequence[Posed],
    width: float,
    fits: dict[str, float],
    on_best: dict[str, list[Placed]],
    kept: dict[str, dict[int, KeptScores]],
    workers: Workers,
) -> tuple[_Read, list[Placed]] | None:
    """The waiting photo that fits the known ones best for its own evidence, and its placements.

    How well each fits is kept in ``fits``, its placements on the first photo alone in ``on_best``, what the
    known ones saw of it in ``kept``, by name.
    """
    trials = []
    cells, photos = _shown(known)
    place = partial(_numbered_placements, cells=cells, photos=photos, width=width)
    placed = workers.map(place, [(read, kept.get(read.name, {})) for read in waiting])
    for read, (numbered, kept[read.name]) in zip(waiting, placed):
        found = [(place, read.solutions[k]) for place, k in numbered]
        if len(known) == 1:
            on_best[read.name] = found
        fits[read.name] = -np.inf
        if found:
            fits[read.name] = found[0][0].score / np.sqrt(read.worth + 1)
            trials.append((fits[read.name], read, found))
    if not trials:
        return None
    _, read, found = max(trials, key=lambda t: t[0])
    return read, found


def _rivals(
    found: list[Placed], known: Sequence[Posed], width: float, workers: Workers
) -> tuple[list[Placed], bool]:
    """Of the placements of a photo on known ones the best and those nearly as good; and is the frame large?

    A frame of many equal bays is laid on itself nearly as well a bay further on, in more places than can be
    followed: there members found at first sight, which may not be where another photo looks through, tell
    the right place better than openings that coincide.
    """
    near = [f for f in found if f[0].score >= RIVAL * found[0][0].score][:MOST_LOOKED]
    if len(near) <= MOST_RIVALS:
        return near, False
    best = _at_first_sight(known, near[0], width)
    if len(best.candidates) < MANY:
        return near[:MOST_RIVALS], False
    others = workers.map(partial(_nats_at_first_sight, known=known, width=width), near[1:])
    nats = [members_evidence(best), *others]
    order = sorted(range(len(near)), key=lambda k: -nats[k])
    return [near[k] for k in order[:MOST_RANKED]], True


def _nats_at_first_sight(placed: Placed, known: Sequence[Posed], width: float) -> float:
    """Nats of the members that known photos and a placed one show at first sight."""
    return members_evidence(_at_first_sight(known, placed, width))


def _at_first_sight(known: Sequence[Posed], placed: Placed, width: float) -> Scene:
    """The members that known photos and a placed one show at first sight, before one hides another."""
    place, posed = placed
    photos = [*known, _moved(posed, place)]
    scene = Scene(tuple(p for p, _ in photos), {}, width)
    return select_members(scene, candidate_lines([x for _, x in photos]))


def _with_more(rivals: list[Placed], more: list[Placed]) -> list[Placed]:
    """The rivals, and of further ones those that are not among them."""

    def same(a: Placed, b: Placed) -> bool:
        turned = (a[0].turn == b[0].turn).all() and np.allclose(a[0].shift, b[0].shift)
        return bool(turned) and a[1][0] is b[1][0]

    return rivals + [a for a in more if not any(same(a, b) for b in rivals)]


def best_hypotheses(
    hypotheses: Sequence[Sequence[Posed]],
    width: float,
    greys: Mapping[str, np.ndarray],
    workers: Workers = ALONE,
    one_at_a_time: bool = False,
) -> tuple[list[Posed], float | None]:
    """Of each photo's hypotheses the one that members and floor explain best, all photos together.

    A frame that nearly fits itself in several turns is laid on the others nearly as well in a wrong one as in
    the right one, opening by opening; but the members that come of it are too long or cross, and explain
    less.  Where it fits itself wholly, the floor under it tells.

    Parameters
    ----------
    hypotheses : Sequence[Sequence[Posed]]
        For each photo its camera and lattice under each turn and shift that was nearly as good as the best
        one, the best first.
    width : float
        Of the members, pitches.
    greys : Mapping[str, array]
        Photo name -> its picture as :func:`recon.solve.evidence.floor.floor_grey` gives it.
    workers : Workers
        Where they are tried.
    one_at_a_time : bool
        Is the best of each photo likely the right one, so that not all combinations need be tried?

    Returns
    -------
    They, and the nats that they explain together; None where that was not asked.
    """
    chosen = _Choice(hypotheses, width, greys, workers)
    now = [0] * len(hypotheses)
    if all(len(h) == 1 for h in hypotheses):
        return chosen.of(now), None
    if not one_at_a_time and np.prod([len(h) for h in hypotheses]) <= MOST_TRIALS:
        now = list(chosen.best(list(product(*(range(len(h)) for h in hypotheses)))))
        return chosen.of(now), chosen.known[tuple(now)]
    for _ in range(MOST_TURNS):  # one at a time, as long as it helps
        before = list(now)
        for i, h in enumerate(hypotheses):
            if len(h) == 1:
                continue
            asked = {i, *[j for j in range(len(now)) if j != i][:MOST_ASKED]}
            trials = [[n if j in asked else NOT_ASKED for j, n in enumerate(now)] for _ in h]
            for k, trial in enumerate(trials):
                trial[i] = k
            best = chosen.best([trials[now[i]], *trials])  # first: of two that explain as much it stays
            now[i] = best[i]
        if now == before:
            break
    return chosen.of(now), chosen.known.get(tuple(now))


class _Choice:
    """One hypothesis of each photo that is asked, by its number; remembers what each choice explains."""

    def __init__(
        self,
        hypotheses: Sequence[Sequence[Posed]],
        width: float,
        greys: Mapping[str, np.ndarray],
        workers: Workers,
    ) -> None:
        self.hypotheses, self.width, self.greys, self.workers = hypotheses, width, greys, workers
        self.known: dict[tuple[int, ...], float] = {}

    def of(self, numbers: Sequence[int]) -> list[Posed]:
        return [h[k] for h, k in zip(self.hypotheses, numbers) if k != NOT_ASKED]

    def best(self, trials: Sequence[Sequence[int]]) -> Sequence[int]:
        """Of some choices the one that explains most."""
        new = [key for key in dict.fromkeys(map(tuple, trials)) if key not in self.known]
        explained = partial(first_evidence, width=self.width, greys=self.greys)
        self.known.update(zip(new, self.workers.map(explained, [self.of(key) for key in new])))
        return max(trials, key=lambda numbers: self.known[tuple(numbers)])


def first_evidence(posed: Sequence[Posed], width: float, greys: Mapping[str, np.ndarray]) -> float:
    """:func:`scene_nats` of all members that two rounds find, with the cameras adjusted in between."""
    return scene_nats(first_members(posed, width, greys))


def scene_nats(scene: Scene) -> float:
    """Nats of the members, of how the cameras are held, and of the floor that the photos share."""
    upright = sum(upright_log_prior(p.camera) for p in scene.photos)
    return members_evidence(scene) + upright + shared_floor(scene)


def first_members(posed: Sequence[Posed], width: float, greys: Mapping[str, np.ndarray]) -> Scene:
    """The members that two rounds find, with the cameras adjusted in between; the scene has greys alone."""
    lines = candidate_lines([x for _, x in posed])
    scene = Scene(tuple(p for p, _ in posed), greys, width)
    return select_members(adjust_cameras(select_members(scene, lines)), lines)


def upright_log_prior(camera: Camera) -> float:
    """Nats for a camera that is held as it is in a world whose z axis points up: level is likeliest.

    Notes
    -----
    A von Mises distribution of the roll; where the world is seen from above, its up direction says little.

    Examples
    --------
    >>> level = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    >>> [upright_log_prior(Camera(1000.0, 0, 0, R=np.diag([s, s, 1.0]) @ level)) for s in (1, -1)]
    [0.0, -12.0]
    """
    right, down = camera.R[0, 2], camera.R[1, 2]
    return float(LEVEL * (-down - np.hypot(right, down)))
