"""Size in millimetres: the stock whose ratios the photos show, or one measured length."""

from __future__ import annotations

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import face_normals, openings
from recon.frame.length import NO_RATIOS, NOT_SURE
from recon.frame.model import StockUse
from recon.frame.stock import recognise
from recon.frame.tape import disagreement, pitch_of, slack_mm
from recon.solve.evidence.along_line import match_member
from recon.solve.evidence.scene import Scene

# The dark spot of a hole is smaller than its rim: blur, and light falling in.  Apparent over true
# diameter, upper quartile of a frame's openings, over rendered frames with truth: 0.94 +- 0.07.
APPARENT = 0.94
APPARENT_SPREAD = 0.07


def measured_hole(scene: Scene) -> tuple[float, int]:
    """Hole diameter in pitches from all openings seen, and how many they are."""
    sizes = []
    for v in scene.photos:
        for candidate in scene.candidates:
            X, seen = match_member(scene, v, candidate)
            ok = (seen.hit >= 0) & (seen.llr > 1)
            depth = (X[ok] @ v.camera.R.T + v.camera.t)[:, 2]
            sizes.append(v.openings["major"][seen.hit[ok]] * depth / v.camera.f)
    sizes = np.concatenate(sizes) if sizes else np.zeros(0)
    if not len(sizes):
        return float(np.median([v.hole for v in scene.photos])) / 0.9, 0
    return float(np.percentile(sizes, 75)) / APPARENT, len(sizes)


MEMBER_SPREAD = 0.10  # of one member's apparent hole round the frame's: light falls differently into each
SAME_STOCK = 0.97  # chance that a member is of the frame's stock before its holes are looked at; this
# project's choice: frames are mostly built of one stock


def member_stocks(scene: Scene, stocks, use: StockUse, pitch_mm: float) -> list[str | None]:
    """Stock of each candidate: the frame's, unless its holes speak clearly for another of the same pitch and width.

    Holes are compared as ratios to the frame's own, so that what light does to all of them cancels.
    """
    if use.id not in stocks:
        return [use.id or None] * len(scene.candidates)
    own = stocks[use.id]
    rivals = [
        s
        for s in stocks.values()
        if s.id != own.id
        and abs(s.pitch_mm - pitch_mm) < 0.05
        and abs(s.width - own.width) < 0.02
        and abs(s.hole_mm - own.hole_mm) > 0.05 * own.hole_mm
    ]
    whole, _ = measured_hole(scene)
    out: list[str | None] = []
    for candidate in scene.candidates:
        hole, count = measured_hole(scene.with_candidates([candidate]))
        best = own.id
        if count >= 8 and rivals:
            spread = MEMBER_SPREAD
            log = {own.id: np.log(SAME_STOCK) - 0.5 * (np.log(hole / whole) / spread) ** 2}
            for r in rivals:
                expected = np.log(r.hole_mm / own.hole_mm)
                log[r.id] = (
                    np.log((1 - SAME_STOCK) / len(rivals))
                    - 0.5 * ((np.log(hole / whole) - expected) / spread) ** 2
                )
            best = max(log, key=log.get)
        out.append(best)
    return out


def choose_stock(scene: Scene, stocks, stock_id, length, members, scales):
    """The stock in use, the pitch in mm, and what is to be said about it.

    Returns
    -------
    StockUse, pitch_mm, list of sentences.
    """
    width = scene.width
    hole, count = measured_hole(scene)
    ranked = recognise(hole, APPARENT_SPREAD * hole, width, 0.03 * width, stocks)
    doubts = []
    if stock_id:
        use = StockUse(stock_id, "given", 1.0)
        pitch = stocks[stock_id].pitch_mm
    elif ranked:
        best, p = ranked[0]
        # Entries with one pitch agree on every length: what counts is how sure the pitch is.
        same = sum(q for s, q in ranked if abs(s.pitch_mm - best.pitch_mm) < 0.05)
        use = StockUse(best.id, "recognised", round(float(min(p, 0.99)), 3))
        pitch = best.pitch_mm
        if same < 0.9 and length is None:
            doubts.append(_scale_doubt(ranked))
    else:
        use, pitch = StockUse("", "assumed", 0.0), 38.1
        doubts.append(
            f"{NO_RATIOS} of hole and width to pitch; 38.1 mm is assumed. "
            "Give one measured length, or add your stock to a list."
        )
    if length is not None:
        pitches = _length_in_pitches(length, members, scene.photos, scales)
        pitch = pitch_of(length.mm, pitches)
        # Where a tape cannot tell the two apart, the stock's pitch is the more exact one.
        if stock_id:
            doubt = disagreement(length.mm, pitches, stocks[stock_id], stocks)
            doubts += [doubt] if doubt else []
            pitch = pitch if doubt else stocks[stock_id].pitch_mm
        else:
            fits = [s for s, _ in ranked if abs(s.pitch_mm * pitches - length.mm) <= slack_mm(length.mm)]
            use = StockUse(fits[0].id if fits else "", "length", 1.0)
            pitch = fits[0].pitch_mm if fits else pitch
    return use, float(round(pitch, 4)), doubts


def _scale_doubt(ranked) -> str:
    """What other pitches would look the same."""
    pitches: dict[float, float] = {}
    for stock, p in ranked:
        pitches[round(stock.pitch_mm, 2)] = pitches.get(round(stock.pitch_mm, 2), 0.0) + p
    order = sorted(pitches.items(), key=lambda q: -q[1])[:3]
    words = " or ".join(f"{mm:g} mm ({p:.0%})" for mm, p in order if p > 0.03)
    return (
        f"{NOT_SURE}: a pitch of {words} would look the same. "
        "Hole counts do not depend on it. One measured length settles it."
    )


def _length_in_pitches(length, members, photos, scales) -> float:
    if length.holes:
        return float(length.holes)
    if length.member:
        if length.member not in members:
            raise ReconError(
                f"--length: there is no member {length.member} in this frame; it has "
                f"{', '.join(members)}. Read once without --length, look at the overlays and name one of these."
            )
        return float(members[length.member].holes)
    photo = next((v for v in photos if v.name == length.photo), None)
    if photo is None:
        raise ReconError(
            f"--length: the photo {length.photo} is not among those used ({', '.join(v.name for v in photos)})."
        )
    s = scales[photo.name]
    ends = [
        _nearest_opening(photo, members, (np.asarray(p, float) + 0.5) * s - 0.5) for p in length.points_px
    ]
    distance = float(np.linalg.norm(ends[0] - ends[1]))
    if distance < 0.5:
        raise ReconError("--length: both points lie at the same hole; give two holes far apart.")
    return distance


def _nearest_opening(photo, members, px):
    best = None
    for m in members.values():
        X, n = openings(m).reshape(-1, 3), np.repeat(face_normals(m)[2:], m.holes, 0)
        facing = ((photo.camera.centre - X) * n).sum(1) > 0
        d = np.linalg.norm(photo.camera.project(X) - px, axis=1)
        d = np.where(facing & np.isfinite(d), d, np.inf)
        i = int(d.argmin())
        if best is None or d[i] < best[0]:
            best = (d[i], X[i])
    return best[1]
