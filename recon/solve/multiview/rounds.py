"""The rounds over photos in one world: select members, adjust cameras, look again, find the ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from recon.solve.evidence.along_line import has_own_places
from recon.solve.evidence.candidate import Candidate, boxes, grown, overlapping, touching
from recon.solve.evidence.floor import up_axis
from recon.solve.evidence.scene import Ends, Scene
from recon.solve.members.ends import find_all_ends, with_fixed_ends
from recon.solve.members.gaps import with_gaps
from recon.solve.members.lengths import settle_ends
from recon.solve.members.lines import candidate_lines, known_lines, touching_lines
from recon.solve.members.selection import enough_evidence, select_members
from recon.solve.multiview.cameras import adjust_cameras
from recon.solve.multiview.hypotheses import RegisteredPhotos
from recon.workers import ALONE, Workers

ROUNDS = 3  # select, adjust, select ...: nothing changed after the third on any rendered frame
GAP_ROUNDS = 2  # of members in line: the second mends two of a made-up frame's 204; bounds the time
# Nats: a group of members this sure stays even where nothing is seen to touch it.  On rendered photos of 50
# frames eight false members by themselves had 53 and less, true ones 89 and more.
WELL_SEEN = 60.0
UNSEEN_REACH = 4  # holes by which a member may be longer than what was seen of it, for touching

Progress = Callable[[float], object]  # called with the fraction that is done, 0 to 1


def find_members(
    registered: RegisteredPhotos,
    pictures: Mapping[str, np.ndarray],
    width: float,
    progress: Progress | None = None,
    known: Sequence[Candidate] = (),
    deleted: Sequence[Candidate] = (),
    workers: Workers = ALONE,
) -> Scene:
    """Members, their ends, and cameras adjusted to them.

    Parameters
    ----------
    registered : RegisteredPhotos
        Photos in one world.
    pictures : Mapping[str, array]
        Photo name -> (H, W, 3) uint8 BGR.
    width : float
        Of the members, pitches.
    progress : Progress or None
        Called with the fraction that is done.
    known : Sequence[Candidate]
        Candidates to begin with; those with fixed ends stay.
    deleted : Sequence[Candidate]
        Candidates that are not there.
    workers : Workers
        Where lines are looked along.
    """
    tell = progress or (lambda fraction: None)
    scene = registered.scene(pictures, width).with_candidates(known)
    for k in range(ROUNDS):
        lines = candidate_lines(registered.lattices)
        lines.update(known_lines(scene.candidates))
        if k == ROUNDS - 1:
            # The cameras are good now: look wherever a member could touch the ones that are known.
            lines = {**touching_lines(well_seen_groups(scene)), **lines}
        scene = adjust_cameras(with_gaps(select_members(scene, lines, deleted, workers=workers)))
        tell(0.1 + 0.6 * (k + 1) / ROUNDS)
    scene = _settled(scene)
    tell(0.85)
    scene = _settled_with_gaps(scene)
    tell(1.0)
    return scene


def _settled_with_gaps(scene: Scene) -> Scene:
    """A settled scene settled again: now the ends of all members tell which are two in line.

    Where that makes any two, their ends may tell it of more.
    """
    for _ in range(GAP_ROUNDS):
        found = with_gaps(scene)
        more = len(found.candidates) > len(scene.candidates)
        scene = _settled(found)
        if not more:
            break
    return scene


def _settled(scene: Scene) -> Scene:
    """The scene without what is seen too little, with the ends of all members, and the cameras adjusted."""
    return adjust_cameras(with_ends(well_seen_groups(enough_evidence(scene))))


def find_own_places(scene: Scene, workers: Workers = ALONE) -> Scene:
    """The members of a frame bolted by hand again, each where it really is, and what touches them so.

    To be asked once it is settled which photos show the frame: a photo that lies wrongly is explained, too,
    where members may be off the lattice.  Without play nothing changes.
    """
    if not has_own_places(scene.photos) or not scene.candidates:
        return scene
    lines = touching_lines(well_seen_groups(scene))
    lines.update(known_lines(scene.candidates))
    scene = with_gaps(select_members(scene, lines, own_places=True, workers=workers))
    return _settled_with_gaps(_settled(adjust_cameras(scene)))


def with_ends(scene: Scene) -> Scene:
    """The scene with the ends of all candidates sought, and each as long as its ends say."""
    candidates = list(scene.candidates)
    up = up_axis(p.camera for p in scene.photos)
    ends = settle_ends(candidates, _ends_of_all(scene), up, scene.width)
    order = sorted(
        range(len(candidates)), key=lambda i: (candidates[i].fixed_ends is None, -candidates[i].evidence)
    )
    lo, hi = boxes(candidates, scene.width)
    for i in order:
        low, high = (guess.best for guess in ends[i])
        others = np.delete(lo, i, 0), np.delete(hi, i, 0)
        longer = grown(candidates[i], -low, high - (candidates[i].holes - 1))
        if longer.holes >= 1 and not overlapping(longer, others, scene.width).any():
            candidates[i] = longer
            lo[i], hi[i] = longer.box(scene.width)
            ends[i] = (ends[i][0].recounted(low), ends[i][1].recounted(low))
    return scene.with_candidates(candidates, ends)


def _ends_of_all(scene: Scene) -> list[Ends]:
    """Where each candidate starts and stops; ends that the user vouches for stay where they are."""
    fixed = [c.fixed_ends or (False, False) for c in scene.candidates]
    sought = [i for i, both in enumerate(fixed) if not all(both)]
    found = dict(zip(sought, find_all_ends(scene, sought)))
    return [
        with_fixed_ends(c, found.get(i)) if any(fixed[i]) else found[i]
        for i, c in enumerate(scene.candidates)
    ]


def well_seen_groups(scene: Scene) -> Scene:
    """The members that hang together with most evidence, with a fixed one, or well seen as a group.

    What little else the photos show (clutter that passed for a member) goes.

    Examples
    --------
    >>> rail, post = Candidate.bare(0, [0, 0, 0], 5), Candidate.bare(2, [2, 1, -2], 5)
    >>> far = Candidate.bare(0, [0, 30, 0], 5)
    >>> kept = well_seen_groups(Scene((), {}, 1.0, (rail, far, post))).candidates
    >>> [c.first.tolist() for c in kept]
    [[0.0, 0.0, 0.0], [2.0, 1.0, -2.0]]
    """
    candidates = scene.candidates
    if not candidates:
        return scene
    groups = touching([grown(c, UNSEEN_REACH, UNSEEN_REACH) for c in candidates], scene.width)
    value = [sum(candidates[i].evidence for i in g) for g in groups]
    keep = set(groups[int(np.argmax(value))])
    for g, nats in zip(groups, value):
        if nats >= WELL_SEEN or any(candidates[i].fixed_ends is not None for i in g):
            keep |= set(g)
    return scene.with_candidates(c for i, c in enumerate(candidates) if i in keep)
