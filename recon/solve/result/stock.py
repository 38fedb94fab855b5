"""Size in millimetres: the stock whose ratios the photos show, or one measured length."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import face_normals, openings
from recon.frame.confidence import SURE
from recon.frame.length import NO_RATIOS, NOT_SURE, KnownLength
from recon.frame.model import Member, StockUse
from recon.frame.stock import Stock, recognise
from recon.frame.tape import disagreement, pitch_of, slack_mm
from recon.geometry.arrays import FloatArray
from recon.solve.evidence.along_line import match_members
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene

# The dark spot of a hole is smaller than its rim: blur, and light falling in.  Apparent over true
# diameter, upper quartile of a frame's openings, over rendered frames with truth: 0.94 +- 0.07.
APPARENT = 0.94
APPARENT_SPREAD = 0.07
APPARENT_MIDDLE = 0.9  # the same for the median of one photo's openings; this project's choice
WIDTH_SPREAD = 0.03  # of the width, as a part of it; this project's choice
MEMBER_SPREAD = 0.10  # of one member's apparent hole round the frame's: light falls differently into each
# Chance that a member is of the frame's stock before its holes are looked at; this project's choice: frames
# are mostly built of one stock.
SAME_STOCK = 0.97
LEAST_OPENINGS = 8  # of a member, for its holes to be compared; this project's choice
SAME_PITCH_MM = 0.05  # pitches nearer than this agree on every length
STOCK_LISTED = 0.5  # below this it is likelier that the stock is not in the list; common practice, no source
LEAST_PITCH = 0.03  # a pitch less likely than this is not worth a word; this project's choice
USUAL_PITCH_MM = 38.1  # 1 1/2 in: assumed where the stock list has no entry; this project's choice
NO_STOCK_FITS = (
    f"{NO_RATIOS} of hole and width to pitch; {USUAL_PITCH_MM} mm is assumed. "
    "Give one measured length, or add your stock to a list."
)


def measured_hole(scene: Scene) -> tuple[float, int]:
    """Hole diameter in pitches from all openings of a scene's candidates, and how many they are."""
    return _diameter(scene, np.concatenate([np.zeros(0), *_hole_sizes(scene)]))


def _hole_sizes(scene: Scene, alone: bool = False) -> list[FloatArray]:
    """Of each candidate the apparent diameters of its openings in all photos, pitches; ``alone``: as in
    :func:`recon.solve.evidence.along_line.match_members`."""
    sizes: list[list[FloatArray]] = [[np.zeros(0)] for _ in scene.candidates]
    for photo in scene.photos:
        for mine, (X, seen) in zip(sizes, match_members(scene, photo, alone)):
            ok = (seen.hit >= 0) & (seen.llr > 1)
            depth = (X[ok] @ photo.camera.R.T + photo.camera.t)[:, 2]
            mine.append(photo.openings["major"][seen.hit[ok]] * depth / photo.camera.f)
    return [np.concatenate(mine) for mine in sizes]


def _diameter(scene: Scene, found: FloatArray) -> tuple[float, int]:
    """Hole diameter in pitches by the apparent diameters of openings, and how many they are."""
    if not len(found):
        return float(np.median([photo.hole for photo in scene.photos])) / APPARENT_MIDDLE, 0
    return float(np.percentile(found, 75)) / APPARENT, len(found)


def member_stocks(
    scene: Scene, stocks: Mapping[str, Stock], use: StockUse, pitch_mm: float
) -> list[str | None]:
    """Stock of each candidate: the frame's, unless its holes clearly show another of that pitch and width.

    Holes are compared as ratios to the frame's own, so that what light does to all of them cancels.

    Parameters
    ----------
    scene : photos and candidates
    stocks : id -> stock
    use : the frame's stock
    pitch_mm : the frame's pitch, mm

    Returns
    -------
    Ids; None where the frame's own is not known.
    """
    if use.id not in stocks:
        return [use.id or None] * len(scene.candidates)
    own = stocks[use.id]
    rivals = [
        s
        for s in stocks.values()
        if s.id != own.id
        and abs(s.pitch_mm - pitch_mm) < SAME_PITCH_MM
        and abs(s.width - own.width) < 0.02
        and abs(s.hole_mm - own.hole_mm) > 0.05 * own.hole_mm
    ]
    whole, _ = measured_hole(scene)
    out: list[str | None] = []
    for sizes in _hole_sizes(scene, alone=True):
        hole, count = _diameter(scene, sizes)
        enough = count >= LEAST_OPENINGS and rivals
        out.append(_likeliest_stock(hole / whole, own, rivals) if enough else own.id)
    return out


def _likeliest_stock(ratio: float, own: Stock, rivals: Iterable[Stock]) -> str:
    """The stock whose hole, over the frame's own, is most like a member's ``ratio``."""
    rivals = list(rivals)
    log = {own.id: np.log(SAME_STOCK) - 0.5 * (np.log(ratio) / MEMBER_SPREAD) ** 2}
    for r in rivals:
        expected = np.log(r.hole_mm / own.hole_mm)
        log[r.id] = (
            np.log((1 - SAME_STOCK) / len(rivals)) - 0.5 * ((np.log(ratio) - expected) / MEMBER_SPREAD) ** 2
        )
    return max(log, key=lambda id: log[id])


def choose_stock(
    scene: Scene,
    stocks: Mapping[str, Stock],
    stock_id: str | None,
    length: KnownLength | None,
    members: Mapping[str, Member],
    scales: Mapping[str, float],
) -> tuple[StockUse, float, list[str]]:
    """The stock in use, the pitch, and what is to be said about them.

    Parameters
    ----------
    scene : photos and candidates
    stocks : id -> stock
    stock_id : the stock that it is known to be, or None
    length : one measured length, or None
    members : id -> member of the frame, in the scene's world
    scales : photo -> size of the working copy over the photo's

    Returns
    -------
    use : the stock, and where it comes from
    pitch_mm : mm
    doubts : sentences

    Raises
    ------
    ReconError
        The measured length names a member, a photo or openings that there are none of.

    Examples
    --------
    >>> import numpy as np
    >>> from recon.frame.stock import load_stocks
    >>> from recon.geometry.camera import Camera
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.evidence.posed_photo import make_posed_photo
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> photo = make_posed_photo("gate.jpg", camera, (1600, 1200), np.ones(1, OPENING), 0.25)
    >>> scene = Scene((photo,), {}, 1.0)
    >>> choose_stock(scene, load_stocks(), "softwood-38", None, {}, {})
    (StockUse(id='softwood-38', how='given', confidence=1.0), 38.1, [])
    """
    hole, _ = measured_hole(scene)
    width = scene.width
    ranked = recognise(hole, APPARENT_SPREAD * hole, width, WIDTH_SPREAD * width, dict(stocks))
    if length is not None:
        pitches = _length_in_pitches(length, members, scene, scales)
        if stock_id:
            use, pitch, doubts = _stock_against_length(stocks[stock_id], stocks, length.mm, pitches)
        else:
            use, pitch, doubts = _stock_from_length(ranked, length.mm, pitches)
    elif stock_id:
        use, pitch, doubts = StockUse(stock_id, "given", 1.0), stocks[stock_id].pitch_mm, []
    else:
        use, pitch, doubts = _recognised_stock(ranked)
    return use, float(round(pitch, 4)), doubts


def _recognised_stock(ranked: Sequence[tuple[Stock, float]]) -> tuple[StockUse, float, list[str]]:
    """The likeliest stock by its ratios alone, its pitch in mm, a doubt where the pitch is not sure.

    Entries with one pitch agree on every length: what counts is how sure the pitch is, and the stock is the
    likeliest one of that pitch.
    """
    pitches = _pitch_chances(ranked)
    if sum(pitches.values()) < STOCK_LISTED:
        return StockUse("", "assumed", 0.0), USUAL_PITCH_MM, [NO_STOCK_FITS]
    pitch = max(pitches, key=lambda mm: pitches[mm])
    best, p = next((s, p) for s, p in ranked if abs(s.pitch_mm - pitch) < SAME_PITCH_MM)
    use = StockUse(best.id, "recognised", round(float(min(p, 0.99)), 3))
    return use, best.pitch_mm, [] if pitches[pitch] >= SURE else [_scale_doubt(pitches, pitch)]


def _pitch_chances(ranked: Sequence[tuple[Stock, float]]) -> dict[float, float]:
    """Pitch in mm -> how likely it is; entries with one pitch together."""
    pitches: dict[float, float] = {}
    for stock, p in ranked:
        known = (mm for mm in pitches if abs(mm - stock.pitch_mm) < SAME_PITCH_MM)
        mm = next(known, stock.pitch_mm)
        pitches[mm] = pitches.get(mm, 0.0) + p
    return pitches


def _scale_doubt(pitches: Mapping[float, float], taken: float) -> str:
    """One sentence on all pitches that stock of these proportions has."""
    likely = sorted(mm for mm, p in pitches.items() if p > LEAST_PITCH or mm == taken)
    if len(likely) > 1:
        words = f"{', '.join(f'{mm:g}' for mm in likely[:-1])} or {likely[-1]:g} mm"
        which = f"from the photos the pitch may be {words}, and {taken:g} mm is taken"
    else:
        which = f"the pitch may be {taken:g} mm, or that of stock that is not in the list"
    return (
        f"{NOT_SURE}: {which}. Hole counts do not depend on it. "
        "One measured length settles it, or the stock that you usually build with."
    )


def _stock_against_length(
    stock: Stock, stocks: Mapping[str, Stock], mm: float, pitches: float
) -> tuple[StockUse, float, list[str]]:
    """The user's stock and a measured length, which gives the pitch in mm where the two clearly differ."""
    measured = pitch_of(mm, pitches)
    doubt = disagreement(mm, pitches, stock, stocks)
    # Where a tape cannot tell the two apart, the stock's pitch is the more exact one.
    return StockUse(stock.id, "given", 1.0), measured if doubt else stock.pitch_mm, [doubt] if doubt else []


def _stock_from_length(
    ranked: Sequence[tuple[Stock, float]], mm: float, pitches: float
) -> tuple[StockUse, float, list[str]]:
    """The likeliest stock that a measured length fits, else none; and the pitch in mm."""
    doubts = [] if ranked else [NO_STOCK_FITS]
    measured = pitch_of(mm, pitches)
    fits = [s for s, _ in ranked if abs(s.pitch_mm * pitches - mm) <= slack_mm(mm)]
    # Where a tape cannot tell the two apart, the stock's pitch is the more exact one.
    use = StockUse(fits[0].id if fits else "", "length", 1.0)
    return use, fits[0].pitch_mm if fits else measured, doubts


def _length_in_pitches(
    length: KnownLength, members: Mapping[str, Member], scene: Scene, scales: Mapping[str, float]
) -> float:
    """How many pitches the measured length is."""
    if length.holes:
        return float(length.holes)
    if length.member:
        if length.member not in members:
            raise ReconError(
                f"--length: there is no member {length.member} in this frame; it has "
                f"{', '.join(members)}. Read once without --length, look at the overlays and "
                "name one of these."
            )
        return float(members[length.member].holes)
    photo = next((p for p in scene.photos if p.name == length.photo), None)
    if photo is None:
        raise ReconError(
            f"--length: the photo {length.photo} is not among those used "
            f"({', '.join(p.name for p in scene.photos)})."
        )
    scale = scales[photo.name]
    a, b = (
        _nearest_opening(photo, members.values(), (np.asarray(p, float) + 0.5) * scale - 0.5)
        for p in length.points_px or ()
    )
    distance = float(np.linalg.norm(a - b))
    if distance < 0.5:
        raise ReconError("--length: both points lie at the same hole; give two holes far apart.")
    return distance


def _nearest_opening(photo: PosedPhoto, members: Iterable[Member], px: FloatArray) -> FloatArray:
    """(3,) pitches: the opening turned to the photo that is seen nearest to a place (2,) px."""
    best = (np.inf, np.zeros(3))
    for m in members:
        X, n = openings(m).reshape(-1, 3), np.repeat(face_normals(m)[2:], m.holes, 0)
        facing = ((photo.camera.centre - X) * n).sum(1) > 0
        d = np.linalg.norm(photo.camera.project(X) - px, axis=1)
        d = np.where(facing & np.isfinite(d), d, np.inf)
        i = int(d.argmin())
        if d[i] < best[0]:
            best = (d[i], X[i])
    return best[1]
