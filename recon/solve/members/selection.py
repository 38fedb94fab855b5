"""Members from evidence: candidate lattice lines, their best stretches, one explanation for each detection."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.geometry.boxes import lifted, occluded
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    LEAST_STEPS,
    Stick,
    boxes,
    grown,
    line_key,
    same_line,
    shared_holes,
)
from recon.solve.evidence.predictions import View, look, member_openings
from recon.solve.members.overlaps import make_room

LEAST_MEAN = 1.35  # nats per opening in plain sight: of 359 right members on rendered photos 99 % have
# over 1.38, of 37 false ones two thirds under 1.3
LINES_AT_ONCE = 48  # lines evaluated in one go: bounds memory, saves overhead


def candidate_lines(views: list[View], lattices, least_log_p: float = -4.0) -> dict:
    """Lattice lines near any row of any photo: {(axis, a, b): [lowest step, highest step]} (world coordinates)."""
    lines: dict[tuple, list] = {}
    for lat in lattices:
        for row, sign, guesses in zip(lat.placed.rows, lat.placed.sign, lat.guesses):
            for g in guesses:
                if g.log_p < least_log_p:
                    continue
                ends = g.first[row.axis] + sign * np.array([row.step[0], row.step[-1]])
                others = [j for j in range(3) if j != row.axis]
                key = (
                    row.axis,
                    round(float(g.first[others[0]]), 3),
                    round(float(g.first[others[1]]), 3),
                    round(float(ends[0]) % 1.0, 3) % 1.0,
                )
                lo, hi = int(np.floor(ends.min())), int(np.floor(ends.max()))
                if key in lines:
                    lines[key] = [min(lo, lines[key][0]), max(hi, lines[key][1])]
                else:
                    lines[key] = [lo, hi]
    return lines


def touching_lines(sticks: list[Stick], width: float, reach: int = 24) -> dict:
    """Lattice lines on which a further member could touch one of the sticks face to face with its holes in line."""
    lines: dict[tuple, list] = {}
    for s in sticks:
        for axis in range(3):
            if axis == s.axis:
                continue
            normal = 3 - axis - s.axis
            frac = round(float(s.first[axis]) % 1.0, 3) % 1.0
            middle = int(np.floor(s.first[axis]))
            for side in (-width, width):
                for k in range(s.holes):
                    place = np.zeros(3)
                    place[s.axis] = s.first[s.axis] + k
                    place[normal] = s.first[normal] + side
                    others = [j for j in range(3) if j != axis]
                    key = (axis, round(float(place[others[0]]), 3), round(float(place[others[1]]), 3), frac)
                    lines.setdefault(key, [middle - reach, middle + reach])
    return lines


def line_first(key, k):
    axis, a, b, frac = key
    p = np.empty(3)
    others = [j for j in range(3) if j != axis]
    p[others[0]], p[others[1]], p[axis] = a, b, k + frac
    return p


def line_evidence(views, key, lo, hi, width, blockers=None, only_free=False):
    """Per-hole evidence along a lattice line from step lo to hi.

    Returns
    -------
    llr : (V, 4, K);  hit : (V, 4, K) detection indices.
    """
    count = hi - lo + 1
    X, normals = member_openings(key[0], line_first(key, lo), count, width)
    flat = X.reshape(-1, 3)
    nn = np.repeat(normals, count, 0)
    llr, hit = [], []
    for v in views:
        hidden = None
        if blockers is not None and len(blockers[0]):
            hidden = occluded(v.camera.centre, lifted(flat, nn), *blockers)
        s = look(v, flat, nn, hidden, only_free)
        llr.append(s.llr.reshape(4, count))
        hit.append(s.hit.reshape(4, count))
    return np.array(llr), np.array(hit)


def line_evidence_of(views, axis, first, count, width, blockers, bolted):
    """(V, 4, count) evidence and visibility of a member's openings; bolted faces never speak against it.

    bolted : (4, count) bool as :func:`lap_faces` gives.
    """
    X, normals = member_openings(axis, first, count, width)
    flat = X.reshape(-1, 3)
    nn = np.repeat(normals, count, 0)
    llr, visible = [], []
    for v in views:
        hidden = occluded(v.camera.centre, lifted(flat, nn), *blockers) if len(blockers[0]) else None
        s = look(v, flat, nn, hidden)
        a = s.llr.reshape(4, count)
        llr.append(np.where(bolted, np.maximum(a, 0), a))
        visible.append(s.visible.reshape(4, count))
    return np.array(llr), np.array(visible)


def look_at(view: View, stick: Stick, width: float, blockers):
    """What one photo shows of all openings of a stick: their centres (4 holes, 3) and the Sighting.

    blockers : boxes (lo, hi) of everything that may hide them, the stick's own included.
    """
    X, n = member_openings(stick.axis, stick.first, stick.holes, width)
    X, n = X.reshape(-1, 3), np.repeat(n, stick.holes, 0)
    return X, look(view, X, n, occluded(view.camera.centre, lifted(X, n), *blockers))


def lap_faces(axis, first, count, others, width) -> np.ndarray:
    """(4, count) bool: where a lap with another member may put a bolt's head or nut on a face.

    A member that crosses face to face at hole k hides that face there; the bolt comes out on the
    opposite one.  Face order as in :func:`member_openings`.
    """
    out = np.zeros((4, count), bool)
    sides = [j for j in range(3) if j != axis]
    for s in others:
        if s.axis == axis:
            continue
        normal = 3 - axis - s.axis  # the lap's bolt runs along the third axis
        gap = s.first[normal] - first[normal]
        if abs(abs(gap) - width) > 0.2:
            continue
        k = int(round(s.first[axis] - first[axis]))
        along = first[s.axis] - s.first[s.axis]
        if 0 <= k < count and -0.3 < along < s.holes - 0.7:
            face = sides.index(normal) * 2 + (0 if gap < 0 else 1)  # opposite to the touching face
            out[face, k] = True
    return out


LOOSE_END = 4.0  # nats: what lies past a miss must be worth more, or it is left to the search for ends


def best_stretch(profile: np.ndarray) -> tuple[int, int, float]:
    """Start, stop and sum of the stretch with the largest sum (Kadane), without loose ends.

    A loose end is a piece past a miss that is worth little by itself.
    """
    best, where = 0.0, (0, 0)
    total, start = 0.0, 0
    for i, v in enumerate(profile):
        if total <= 0:
            total, start = v, i
        else:
            total += v
        if total > best:
            best, where = total, (start, i + 1)
    a, b = where
    a, b = _tight(profile, a, b)
    return a, b, float(np.sum(profile[a:b]))


def _tight(profile, a, b):
    for way in (1, -1):
        while b - a > 1:
            piece = profile[a:b][::-way]  # from the end inwards
            misses = np.nonzero(piece < 0)[0]
            if not len(misses):
                break
            stop = int(misses[0])
            # The run of misses and all before it, seen from the end.
            upto = stop
            while upto < len(piece) and piece[upto] <= 0:
                upto += 1
            if piece[:upto].sum() >= LOOSE_END or upto >= len(piece):
                break
            if way > 0:
                b -= upto
            else:
                a += upto
    return a, b


def select_members(
    views: list[View], lines: dict, width: float, known=(), gone=(), reach: int = 10
) -> list[Stick]:
    """Greedy choice of members: the line with most evidence takes its detections, the rest must do without.

    Parameters
    ----------
    lines : as :func:`candidate_lines` gives.
    known : sticks of the last round, as blockers of sight; those held are chosen before all others.
    gone : sticks that are not there: nothing that lies on one with more than half of its holes is chosen.
    reach : how many holes past the rows' ends to look.
    """
    views = [replace(v, free=np.ones(len(v.openings), bool)) for v in views]
    state = _first_looks(views, lines, known, width, reach)
    score = {k: _line_score(s) for k, s in state.items()}
    chosen: list[Stick] = []
    for s in known:
        if s.held is not None:
            s, hits = _held(views, s, known, width)
            chosen.append(s)
            _take(views, hits)
    dirty: set = set(score) if chosen else set()
    while score:
        key = max(score, key=lambda k: score[k][2])
        if score[key][2] < LEAST_EVIDENCE:
            break
        lo, hi, own, ev = state[key]
        if key in dirty:
            ev = line_evidence(views, key, lo, hi, width, own, only_free=True)
            state[key] = (lo, hi, own, ev)
            score[key] = _line_score(state[key])
            dirty.discard(key)
            continue
        a, b, total = score[key]
        llr, hit = ev
        part_hit = hit[:, :, a:b]
        steps = (part_hit >= 0).any((0, 1)).sum()
        if steps < LEAST_STEPS:
            del score[key]
            continue
        stick = Stick(
            key[0],
            line_first(key, lo + a),
            b - a,
            total,
            llr[:, :, a:b].sum((0, 1)),
            (part_hit >= 0).sum((0, 1)),
        )
        if any(same_line(stick, g) and shared_holes(stick, g) > 0.5 * stick.holes for g in gone):
            stick = None
        else:
            stick, chosen = make_room(stick, chosen, width)
        if stick is not None:
            chosen.append(stick)
            _take(views, part_hit)
            dirty = set(score)
        # The same line may hold a second member further along: mask this stretch and go on.
        llr[:, :, a:b] = 0
        mask = llr.copy()
        mask[:, :, max(0, a - 1) : b + 1] = -1e3
        state[key] = (lo, hi, own, (mask, hit))
        dirty.discard(key)
        score[key] = (0, 0, 0.0)
        del score[key]
    return chosen


def _take(views, hits):
    """Marks detections as explained; hits : one array of their numbers (-1: none) for each photo."""
    for view, hit in zip(views, hits):
        view.free[hit[hit >= 0]] = False


def _held(views, stick: Stick, known, width: float, reach: int = 10):
    """A stick of a person's word with what the photos show of it, and the detections that it explains.

    An end that he does not vouch for is put where the evidence from the other end, or the middle, is largest.
    """
    low, high = (0 if h else reach for h in stick.held)
    first = stick.first.copy()
    first[stick.axis] -= low
    blockers = boxes([s for s in known if s is not stick], width)
    key, n = line_key(stick), stick.holes
    start = int(np.floor(first[stick.axis] + 1e-6))
    llr, hit = line_evidence(views, key, start, start + low + n + high - 1, width, blockers)
    profile = llr.sum((0, 1))
    a, b = low, low + n
    middle = low + n // 2
    if high:
        base = low if stick.held[0] else middle
        b = base + 1 + int(np.cumsum(profile[base:]).argmax())
    if low:
        base = b - 1 if stick.held[1] else middle
        a = base - int(np.cumsum(profile[: base + 1][::-1]).argmax())
    stick = grown(stick, low - a, b - low - n)
    part = hit[:, :, a:b]
    return replace(
        stick, evidence=float(profile[a:b].sum()), profile=profile[a:b], seen=(part >= 0).sum((0, 1))
    ), part


def _first_looks(views, lines, known, width, reach):
    """Evidence along every line, {key: (lo, hi, blockers, (llr, hit))}, of those lines that could bear a member."""
    whole = boxes(list(known), width)
    on_own = {line_key(s) for s in known}
    state, batch = {}, []
    for key, (lo, hi) in lines.items():
        if hi - lo < 40:  # rows give stretches, touching gives whole lines
            lo, hi = lo - reach, hi + reach
        if key in on_own or not known:
            own = _without_self(known, key, width) if known else None
            state[key] = (lo, hi, own, line_evidence(views, key, lo, hi, width, own))
        else:
            batch.append((key, lo, hi))
    for i in range(0, len(batch), LINES_AT_ONCE):
        part = batch[i : i + LINES_AT_ONCE]
        X, N, sizes = [], [], []
        for key, lo, hi in part:
            x, normals = member_openings(key[0], line_first(key, lo), hi - lo + 1, width)
            X.append(x.reshape(-1, 3))
            N.append(np.repeat(normals, hi - lo + 1, 0))
            sizes.append(len(X[-1]))
        X, N = np.concatenate(X), np.concatenate(N)
        seen = [look(v, X, N, occluded(v.camera.centre, lifted(X, N), *whole)) for v in views]
        at = np.cumsum([0] + sizes)
        for (key, lo, hi), a, b in zip(part, at[:-1], at[1:]):
            llr = np.array([s.llr[a:b].reshape(4, -1) for s in seen])
            if best_stretch(llr.sum((0, 1)))[2] >= LEAST_EVIDENCE:
                hit = np.array([s.hit[a:b].reshape(4, -1) for s in seen])
                state[key] = (lo, hi, _without_self(known, key, width), (llr, hit))
    return state


def believable(views, sticks: list[Stick], width: float) -> list[Stick]:
    """The sticks that are held, and those of whose openings in plain sight enough are found (see LEAST_MEAN)."""
    blockers = boxes(sticks, width)
    kept = []
    for s in sticks:
        llr, visible = line_evidence_of(
            views,
            s.axis,
            s.first,
            s.holes,
            width,
            blockers,
            lap_faces(s.axis, s.first, s.holes, [o for o in sticks if o is not s], width),
        )
        if s.held is not None or (llr.sum() >= LEAST_EVIDENCE and llr.sum() >= LEAST_MEAN * visible.sum()):
            kept.append(s)
    return kept


def _without_self(known, key, width):
    """Boxes of the known sticks that are not on the candidate's own line."""
    axis = key[0]
    p = line_first(key, 0)
    others = [j for j in range(3) if j != axis]
    rest = [s for s in known if not (s.axis == axis and abs(s.first[others] - p[others]).max() < 0.9 * width)]
    return boxes(rest, width)


def _line_score(state):
    llr = state[3][0]
    return best_stretch(llr.sum((0, 1)))
