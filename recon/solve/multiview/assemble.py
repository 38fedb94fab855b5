"""From photos read one by one to one set of members: join, select, adjust, look again, find the ends."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from recon.solve.evidence.candidate import Stick, boxes, grown, line_key, runs_into, touching
from recon.solve.evidence.predictions import View, with_camera
from recon.solve.members.ends import find_ends, held_ends, settle_lengths
from recon.solve.members.selection import believable, candidate_lines, look_at, select_members, touching_lines
from recon.solve.multiview.registration import Cells, cells_of, join, moved_lattice
from recon.solve.photo.photo_lattice import resect
from recon.solve.photo.read_photo import PhotoReading

ROUNDS = 3  # select, adjust, select ...: nothing changed after the third on any rendered frame
LEAST_JOIN_SHARE = (
    0.6  # of the evidence of the poorer photo by itself; true pairs of made-up frames have 1.3 and
)
# more, pairs of different frames 0.8 and less; the rest is settled by shared_rows
RIVAL = 0.65  # of the best turn's evidence; made-up shelves that nearly fit themselves had 0.73 and more in the right turn
MOST_TRIALS = 16  # combinations that are all tried; of more, one photo's ways after another
MOST_WAYS = 3  # which came third at worst.  Both only bound the time: what is left is settled by the members
LEAST_JOIN = 40.0  # nats: a photo that shares fewer openings with the rest is not forced in


@dataclass(frozen=True)
class Joined:
    """Photos in one world: views and lattices side by side, and those set aside with the reason."""

    views: list
    lattices: list
    set_aside: list


def join_photos(readings: list[PhotoReading], width: float) -> Joined:
    """All photos in the world of the best one, one after another, the best-fitting first.

    A photo whose openings do not fit the others' members is set aside, named and not forced in.
    """
    grid = 1.0 if width == round(width) else 0.25
    order = sorted((r for r in readings if r.view is not None), key=lambda r: -r.worth)
    aside = [(r.name, r.reason) for r in readings if r.view is None]
    if not order:
        return Joined([], [], aside)
    views, lattices = [order[0].view], [order[0].lattice]
    ways = [[(order[0].view, order[0].lattice)]]
    waiting = order[1:]
    while waiting:
        known = _together([cells_of(x) for x in lattices])
        trials = []
        for r in waiting:
            best = join(r.view, r.lattice, known, width, grid, views)
            if best:
                trials.append((best[0][0] / np.sqrt(r.worth + 1), r, best))
        if not trials:
            break
        _, r, best = max(trials, key=lambda t: t[0])
        waiting = [w for w in waiting if w is not r]
        score = best[0][0]
        if score < LEAST_JOIN or score < LEAST_JOIN_SHARE * min(r.worth, order[0].worth):
            aside.append((r.name, "its members do not fit those of the other photos; another frame?"))
            continue
        found = _rivals(best)
        if any(
            len(w) > 1 for w in ways
        ):  # the photos joined so far may lie wrongly themselves: ask the first alone, too
            alone = _rivals(join(r.view, r.lattice, cells_of(lattices[0]), width, grid, views[:1]))
            found += [
                a for a in alone if not any((a[2] == b[2]).all() and np.allclose(a[3], b[3]) for b in found)
            ]
        moved = [moved_lattice(r.lattice, turn, shift) for _, _, turn, shift in found]
        ways.append([(with_camera(r.view, m.camera), m) for m in moved])
        views.append(ways[-1][0][0])
        lattices.append(moved[0])
    aside += [(r.name, "it shows no member that the other photos show") for r in waiting]
    return _best_ways(Joined(views, lattices, aside), ways, width)


def _rivals(found) -> list:
    """Of what :func:`recon.solve.multiview.registration.join` found, the best and those nearly as good."""
    return [f for f in found[:MOST_WAYS] if f[0] >= RIVAL * found[0][0]]


def _best_ways(joined: Joined, ways, width: float) -> Joined:
    """The photos in those of their ways that the members explain best, all together.

    A frame that nearly fits itself in several turns is laid on the others nearly as well in a wrong one as in the right one, opening by
    opening; but the members that come of it are too long or cross, and explain less.

    ways : for each photo the (view, lattice) under each turn and shift that was nearly as good as the best.
    """
    now = [0] * len(ways)
    chosen = lambda at: Joined(
        [w[k][0] for w, k in zip(ways, at)], [w[k][1] for w, k in zip(ways, at)], joined.set_aside
    )
    if all(len(w) == 1 for w in ways):
        return joined
    worth: dict = {}

    def of(at):
        if tuple(at) not in worth:
            worth[tuple(at)] = first_evidence(chosen(at), width)
        return worth[tuple(at)]

    if np.prod([len(w) for w in ways]) <= MOST_TRIALS:
        return chosen(max(product(*(range(len(w)) for w in ways)), key=of))
    changed = True
    while changed:  # many photos: one at a time, as long as it helps
        changed = False
        for i, w in enumerate(ways):
            best = max(range(len(w)), key=lambda k: of([*now[:i], k, *now[i + 1 :]]))
            if best != now[i] and of([*now[:i], best, *now[i + 1 :]]) > of(now):
                now[i], changed = best, True
    return chosen(now)


def first_evidence(joined: Joined, width: float) -> float:
    """Nats of all members that two rounds find, with the cameras adjusted in between."""
    lines = candidate_lines(joined.views, joined.lattices)
    sticks = select_members(joined.views, lines, width)
    views = [adjusted(v, sticks, width) for v in joined.views]
    return sum(s.evidence for s in select_members(views, lines, width, known=sticks))


def _together(cells: list[Cells]) -> Cells:
    return Cells(
        *(np.concatenate([getattr(c, f) for c in cells]) for f in ("place", "axis", "weight", "normal"))
    )


def find_members(
    joined: Joined, images: dict, width: float, progress=None, known=(), gone=()
) -> tuple[list[View], list[Stick], list]:
    """Members, adjusted cameras and ends.

    Parameters
    ----------
    images : photo name -> (H, W, 3) uint8 BGR.
    known : sticks to begin with; those held stay.   gone : sticks that are not there.

    Returns
    -------
    views with adjusted cameras, sticks, and for each stick its two EndGuess.
    """
    views, lattices = joined.views, joined.lattices
    sticks: list[Stick] = list(known)
    for k in range(ROUNDS):
        lines = candidate_lines(views, lattices)
        for s in sticks:
            lo = int(np.floor(s.first[s.axis] + 1e-6))
            lines[line_key(s)] = [lo, lo + s.holes - 1]
        if k == ROUNDS - 1:
            # The cameras are good now: look wherever a member could touch the ones that are known.
            lines = {**touching_lines(main_frame(sticks, width), width), **lines}
        sticks = select_members(views, lines, width, known=sticks, gone=gone)
        views = [adjusted(v, sticks, width) for v in views]
        if progress:
            progress(0.1 + 0.6 * (k + 1) / ROUNDS)
    pictures = [images[v.name] for v in views]
    ends: list = []
    for k in range(2):
        sticks = main_frame(believable(views, sticks, width), width)
        sticks, ends = _with_ends(views, pictures, sticks, width)
        views = [adjusted(v, sticks, width) for v in views]
        if progress:
            progress(0.7 + 0.15 * (k + 1))
    return views, sticks, ends


def _with_ends(views, pictures, sticks, width):
    sticks = list(sticks)
    ends: list = [None] * len(sticks)
    order = sorted(range(len(sticks)), key=lambda i: (sticks[i].held is None, -sticks[i].evidence))
    for i in order:
        others = [s for j, s in enumerate(sticks) if j != i]
        held = sticks[i].held
        guesses = (None, None) if held and all(held) else find_ends(views, pictures, sticks[i], others, width)
        ends[i] = held_ends(sticks[i], guesses) if held else guesses
    for i, (low, high) in zip(order, settle_lengths([sticks[i] for i in order], [ends[i] for i in order])):
        others = [s for j, s in enumerate(sticks) if j != i]
        longer = grown(sticks[i], -low, high - (sticks[i].holes - 1))
        if longer.holes >= 1 and not runs_into(longer, others, width):
            sticks[i] = longer
            ends[i] = tuple(e.recounted(low) for e in ends[i])
    return sticks, ends


def adjusted(view: View, sticks, width: float) -> View:
    """The view with its camera resected on all openings of the members that it shows."""
    world, image, sigma = correspondences(view, sticks, width)
    if len(world) < 12:
        return view
    return with_camera(
        view, resect(view.camera, world, image, sigma, focal_prior=view.camera.f, lens_terms=2)
    )


def correspondences(view: View, sticks, width: float):
    """World points (N, 3), their detections (N, 2) px and standard errors (N,) px in one photo."""
    world, image, sigma = [np.zeros((0, 3))], [np.zeros((0, 2))], [np.zeros(0)]
    blockers = boxes(sticks, width)
    for s in sticks:
        X, seen = look_at(view, s, width, blockers)
        ok = (seen.hit >= 0) & (seen.llr > 1)
        o = view.openings[seen.hit[ok]]
        world.append(X[ok])
        image.append(np.c_[o["x"], o["y"]])
        sigma.append(np.hypot(0.3, 0.08 * o["minor"]))
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)


STRONG = 120.0  # nats: a member this sure stays even where nothing is seen to touch it
UNSEEN_REACH = 4  # holes by which a member may be longer than what was seen of it, for touching


def main_frame(sticks: list[Stick], width: float) -> list[Stick]:
    """The members that hang together with most evidence or with one that is held, and every other strong one.

    What little else the photos show (clutter that passed for a member) goes.
    """
    if not sticks:
        return []
    groups = touching([grown(s, UNSEEN_REACH, UNSEEN_REACH) for s in sticks], width)
    value = [sum(sticks[i].evidence for i in g) for g in groups]
    keep = set(groups[int(np.argmax(value))]) | {i for i, s in enumerate(sticks) if s.evidence > STRONG}
    for g in groups:
        if any(sticks[i].held is not None for i in g):
            keep |= set(g)
    return [s for i, s in enumerate(sticks) if i in keep]


LEAST_SHARED = 0.55  # rendered photos of one frame have 0.8 and more, of another frame 0.1 to 0.5
CONFIRMED = 8.0  # nats from the other photos for a member to count as shown by them


def shared_rows(views, lattices, sticks, width: float) -> np.ndarray:
    """(V,) 0..1, how well each photo and the others agree on what is there.

    The share of the photo's rows, by evidence, that lies on members which the other photos confirm, times the
    share of the members confirmed by the others, and in plain sight here, that this photo does show.  A photo of
    another frame can be laid on this one so that a member or two coincide; then both shares are small.
    """
    hits, votes, plain = [], np.zeros((len(views), len(sticks))), np.zeros((len(views), len(sticks)))
    blockers = boxes(sticks, width)
    for i, v in enumerate(views):
        mine = []
        for j, s in enumerate(sticks):
            _, seen = look_at(v, s, width, blockers)
            votes[i, j] = seen.llr.sum()
            plain[i, j] = seen.visible.sum()
            mine.append(seen.hit[(seen.hit >= 0) & (seen.llr > 0)])
        hits.append(mine)
    out = np.ones(len(views))
    for i, lattice in enumerate(lattices):
        confirmed = [j for j in range(len(sticks)) if np.delete(votes[:, j], i).clip(0).sum() > CONFIRMED]
        known = np.concatenate([hits[i][j] for j in confirmed]) if confirmed else np.zeros(0, int)
        total = shared = 0.0
        for row, guesses in zip(lattice.placed.rows, lattice.guesses):
            if guesses and np.exp(guesses[0].log_p) > 0.5:
                total += row.evidence
                shared += row.evidence * (np.isin(row.index, known).mean() > 0.4)
        there = [j for j in confirmed if plain[i, j] >= 6]
        weight = plain[i, there]
        shown = (weight * (votes[i, there] > 0)).sum() / weight.sum() if there else 0.0
        out[i] = shown * shared / total if total else 0.0
    return out


def second_chance(joined: Joined, readings: list[PhotoReading], views, sticks, width: float) -> Joined:
    """Photos set aside, tried again with their other cameras and lattices against the members that are known now."""
    grid = 1.0 if width == round(width) else 0.25
    place, axis = [], []
    for s in sticks:
        X = np.repeat(s.first[None], s.holes, 0)
        X[:, s.axis] += np.arange(s.holes)
        place.append(X)
        axis.append(np.full(s.holes, s.axis))
    known = Cells(
        np.concatenate(place),
        np.concatenate(axis),
        np.ones(sum(map(len, axis))),
        np.zeros((sum(map(len, axis)), 3)),
    )
    names = {name for name, _ in joined.set_aside}
    new_views, new_lattices, back = [], [], set()
    for r in readings:
        if r.name not in names or r.view is None:
            continue
        trials = []
        for view, lattice in ((r.view, r.lattice), *r.others):
            best = join(view, lattice, known, width, grid, views)
            if best:
                moved = moved_lattice(lattice, best[0][2], best[0][3])
                trials.append((best[0][0], with_camera(view, moved.camera), moved))
        if not trials:
            continue
        score, view, lattice = max(trials, key=lambda t: t[0])
        if score > LEAST_JOIN:
            new_views.append(view)
            new_lattices.append(lattice)
            back.add(r.name)
    if not back:
        return joined
    return Joined(
        joined.views + new_views,
        joined.lattices + new_lattices,
        [(n, why) for n, why in joined.set_aside if n not in back],
    )


def assemble(readings: list[PhotoReading], images: dict, width: float, progress=None):
    """Members from the largest group of photos that fit one another.

    The photo that tells most by itself comes first; where more photos are left out than taken in, it may be the
    stranger, so the others are tried without it.  Returns as :func:`without_misfits`.
    """
    best = _one_group(readings, images, width, progress)
    used = {v.name for v in best[0].views}
    rest = [r for r in readings if r.view is not None and r.name not in used]
    if len(rest) > len(used):
        other = _one_group(rest, images, width, progress)
        if len(other[0].views) > len(used):
            told = {name for name, _ in other[0].set_aside}
            aside = [(n, "it does not show the frame that most of the photos show") for n in sorted(used)]
            aside += [
                (n, why)
                for n, why in best[0].set_aside
                if n not in told and n not in {v.name for v in other[0].views}
            ]
            joined = Joined(other[0].views, other[0].lattices, other[0].set_aside + aside)
            return (joined, *other[1:])
    return best


def _one_group(readings, images, width, progress):
    """Members from all photos that fit the best one; those that do not get one second chance."""
    joined = join_photos(readings, width)
    if not joined.views:
        return joined, [], [], []
    joined, views, sticks, ends = without_misfits(joined, images, width, progress)
    if not sticks or not joined.set_aside:
        return joined, views, sticks, ends
    again = second_chance(joined, readings, views, sticks, width)
    if again is joined:
        return joined, views, sticks, ends
    more = without_misfits(again, images, width, progress)
    return more if len(more[0].views) > len(joined.views) else (joined, views, sticks, ends)


def without_misfits(joined: Joined, images: dict, width: float, progress=None):
    """:func:`find_members`, and again without the photo that fits worst, until all that are left fit.

    Returns
    -------
    joined (what is left of it), views, sticks, ends.
    """
    while True:
        views, sticks, ends = find_members(joined, images, width, progress)
        if len(views) < 2 or not sticks:
            return joined, views, sticks, ends
        share = shared_rows(views, joined.lattices, sticks, width)
        worst = int(share.argmin())
        if share[worst] >= LEAST_SHARED:
            return joined, views, sticks, ends
        if len(views) == 2:
            worst = 1  # of two that do not agree, the one that tells more by itself (first) stays
        aside = joined.set_aside + [
            (
                views[worst].name,
                "most of its rows lie on members that the other photos do not show; is it another frame?",
            )
        ]
        keep = [i for i in range(len(views)) if i != worst]
        joined = Joined([joined.views[i] for i in keep], [joined.lattices[i] for i in keep], aside)
