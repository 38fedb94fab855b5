"""Members off the lattice: braces at an angle, and members along an axis that are off by part of a pitch.

Sought when the frame is solved, among the openings that its members leave unexplained; neither cameras
nor members change.  Lines on which a brace could be pinned to two members are looked at one by one
(``recon.solve.off_lattice.pinned_lines``); after them lines of openings on planes at which a member could
touch another (``recon.solve.off_lattice.free_lines``), which must show much more, since far more of these
could be chance.
"""

from __future__ import annotations

import numpy as np

from recon.solve.evidence.along_line import has_own_places
from recon.solve.evidence.scene import Scene
from recon.solve.members.stretches import best_stretch
from recon.solve.off_lattice.brace import LEAST_FREE, LEAST_PINNED, Brace, as_member
from recon.solve.off_lattice.free_lines import free_lines
from recon.solve.off_lattice.line_ends import line_ends
from recon.solve.off_lattice.line_fit import adjusted_line, on_lattice
from recon.solve.off_lattice.lines import Line, touches
from recon.solve.off_lattice.pinned_lines import first_look, pinned_lines, with_room
from recon.solve.off_lattice.search import Search, start_search

LEAST_HOLES = 3  # distinct holes seen of a pinned brace
LEAST_FREE_HOLES = 6
LEAST_IN_PHOTO = 3  # openings from which a photo counts as showing a free line; this project's choice
REACH = 5  # holes looked at past the last one that must be there
WORTH_A_LOOK = 8.0  # nats at the first look, which forgives most misses
MOST_LOOKS = 40  # lines looked at in full: bounds the time

CountedLine = tuple[Line, int]  # a line and the number of its holes


def find_braces(scene: Scene) -> list[Brace]:
    """Braces and other members off the lattice, most evidence first.

    Parameters
    ----------
    scene : as solved, with the pictures of its photos

    Examples
    --------
    >>> find_braces(Scene((), {}, 1.0))
    []
    """
    if not scene.photos or len(scene.candidates) < 2:
        return []
    search, pinned = _find_pinned(start_search(scene))
    _, free = _find_free(search)
    return sorted(pinned + free, key=lambda b: -b.evidence)


def _find_pinned(search: Search) -> tuple[Search, list[Brace]]:
    """Braces between two pins: the line with most evidence is taken, then the rest are judged again."""
    waiting = _promising_lines(search)
    braces: list[Brace] = []
    while True:
        trials = [(*_seen_between(search, line, count), line, count) for line, count in waiting]
        waiting = [(line, count) for nats, _, line, count in trials if nats > LEAST_PINNED / 2]
        good = [t for t in trials if t[0] > LEAST_PINNED and t[1] >= LEAST_HOLES]
        best = max(good, key=lambda t: t[0], default=None)
        if best is None:
            return search, braces
        waiting = [(line, count) for line, count in waiting if line is not best[2]]
        brace = _with_ends(search, best[2], best[3], LEAST_PINNED)
        if brace is not None:
            braces.append(brace)
            search = _taken_in(search, brace)


def _promising_lines(search: Search) -> list[CountedLine]:
    """Pinned lines worth a look, most nats first."""
    scene = search.scene
    lines = with_room(pinned_lines(scene.candidates, scene.width), scene.candidates, scene.width)
    worth = first_look(scene.photos, lines, scene.width)
    order = [i for i in np.argsort(-worth)[:MOST_LOOKS] if worth[i] > WORTH_A_LOOK]
    return [(lines.line(i), int(lines.steps[i]) + 1) for i in order]


def _seen_between(search: Search, line: Line, count: int) -> tuple[float, int]:
    """Nats and distinct holes seen from hole 0 to the last one that must be there."""
    found = search.bolted_evidence(line, count)
    return float(found.llr.sum()), int(((found.hit >= 0) & (found.llr > 0)).any((0, 1)).sum())


def _with_ends(search: Search, line: Line, count: int, least: float) -> Brace | None:
    """The brace with its ends; None where it has no room, or less than ``least`` nats with its ends found."""
    room = search.room(line, count, REACH)
    if room is None:
        return None
    _, bolted = search.pins(line.shifted(-REACH), count + 2 * REACH)
    # Where bolts have play the brace lies a little off its pins, and its openings tell where.
    own = _own_line(search, line, count)
    low, high = line_ends(search, own, count, bolted, room, REACH)
    line, own, holes = line.shifted(low.best), own.shifted(low.best), high.best - low.best + 1
    pinned, bolted = search.pins(line, holes)
    found = search.evidence(own, holes, bolted)
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
        (low.recounted(low.best), high.recounted(low.best)),
        int(pinned.sum()),
    )


def _own_line(search: Search, line: Line, count: int) -> Line:
    """The line where its openings are seen, which without play is where its pins are."""
    photos = search.scene.photos
    if not has_own_places(photos):
        return line
    return adjusted_line(photos, line, search.bolted_evidence(line, count), search.scene.width)


def _taken_in(search: Search, brace: Brace) -> Search:
    """The search with a brace among its members."""
    member = as_member(brace, f"{len(search.members)}", search.scene.width)
    return search.with_member(brace.line, member)


def _find_free(search: Search) -> tuple[Search, list[Brace]]:
    """Members on lines that no two pins fix."""
    braces = []
    for line, count in free_lines(search.scene):
        brace = _free_brace(search, line, count)
        if brace is not None:
            braces.append(brace)
            search = _taken_in(search, brace)
    return search, braces


def _free_brace(search: Search, line: Line, count: int) -> Brace | None:
    """A member on a free line: its best stretch, its place by least squares, and much evidence."""
    scene = search.scene
    for _ in range(2):
        stretch = _best_part(search, line, count)
        if stretch is None:
            return None
        line, count = stretch
    found = search.bolted_evidence(line, count)
    hit = (found.hit >= 0) & (found.llr > 0)
    in_photos = (hit.sum((1, 2)) >= LEAST_IN_PHOTO).sum()
    # One photo sees a member along an axis alike at many depths; a slanted one has its pitch at one depth
    # only.
    one_is_enough = line.slanted and len(scene.photos) == 1
    if hit.any((0, 1)).sum() < LEAST_FREE_HOLES or (in_photos < 2 and not one_is_enough):
        return None
    boxes = search.occluders
    if on_lattice(line, scene.candidates, scene.width) or not touches(
        line, count, scene.width, boxes.lo, boxes.hi
    ):
        return None
    return _with_ends(search, line, count, LEAST_FREE * (1 if len(scene.photos) > 1 else 2))


def _best_part(search: Search, line: Line, count: int) -> CountedLine | None:
    """The stretch of a line with most evidence, its place adjusted; None where it is short or weak."""
    wide, holes = line.shifted(-REACH), count + 2 * REACH
    found = search.bolted_evidence(wide, holes)
    start, stop, nats = best_stretch(found.profile)
    if nats < LEAST_FREE / 2 or stop - start < LEAST_FREE_HOLES:
        return None
    moved = adjusted_line(search.scene.photos, wide, found, search.scene.width)
    return moved.shifted(start), stop - start
