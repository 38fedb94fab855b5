"""From a solved scene to a frame: labels, joints, bolts, stock, confidence, and doubts put into words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.joints import find_joints
from recon.frame.length import KnownLength
from recon.frame.model import End, Frame, Joint, Member, Photo, StockUse, as_tuple
from recon.frame.stock import Stock
from recon.geometry.camera import Camera
from recon.image.photos import PhotoImage
from recon.solve.evidence.candidate import EndGuess
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.members.bolts import bolt_states
from recon.solve.off_lattice.brace import off_lattice_members
from recon.solve.off_lattice.braces import find_braces
from recon.solve.priors.constraints import Constraints, labels_of, spare_labels, without_deleted
from recon.solve.result.confidence import with_confidence
from recon.solve.result.end_choices import LEAST_CHANCE, with_choices
from recon.solve.result.squareness import squareness_of
from recon.solve.result.stock import choose_stock, member_stocks
from recon.solve.result.viewpoints import where_to_photograph
from recon.solve.result.visits import moved_between_visits


def make_frame(
    sources: Sequence[PhotoImage],
    scene: Scene,
    scales: Mapping[str, float],
    stocks: Mapping[str, Stock],
    stock_id: str | None,
    length: KnownLength | None,
    constraints: Constraints | None = None,
) -> tuple[Frame, Scene]:
    """The frame file's content from a solved scene.

    Parameters
    ----------
    sources : all photos, those set aside too
    scene : solved, with the ends of its candidates
    scales : photo -> size of the working copy over the photo's
    stocks : id -> stock
    stock_id : the stock that it is known to be, or None
    length : one measured length, or None
    constraints : a frame that was resolved: its place and its labels are kept

    Returns
    -------
    The frame; and the scene moved to the frame's origin, its candidates in the order of the labels.

    Raises
    ------
    ReconError
        The measured length names a member, a photo or openings that there are none of.
    """
    scene = _in_place(scene, keep_origin=constraints is not None)
    labels = labels_of(scene.candidates, constraints)
    square = squareness_of(scene)
    members = [replace(m, off_place=off) for m, off in zip(_members_of(scene, labels), square.members)]
    braces = find_braces(scene)
    off_lattice = off_lattice_members(braces, scene.width, spare_labels(set(labels)), end_of)
    on_lattice = with_choices(members, scene.ends, off_lattice)
    off_lattice = with_choices(off_lattice, [b.ends for b in braces], members)
    members = on_lattice + without_deleted(off_lattice, constraints)
    joints = _joints_of(scene, members)
    members = with_confidence(members, joints, scene)
    use, pitch_mm, doubts = choose_stock(scene, stocks, stock_id, length, {m.id: m for m in members}, scales)
    members = _with_stocks(scene, members, stocks, use, pitch_mm)
    others = [m.id for m in members if m.stock != (use.id or None)]
    if others:
        doubts.append(
            f"By the size of their holes {', '.join(others)} may be of another stock than the rest."
        )
    doubts += moved_between_visits(scene, labels)
    doubts += where_to_photograph(scene.photos, members, scene.width)
    records = _photo_records(sources, scene, scales)
    return Frame(tuple(members), joints, pitch_mm, use, records, tuple(doubts), racked=square.racked), scene


def _in_place(scene: Scene, keep_origin: bool) -> Scene:
    """The scene with uprights first, then by place; lowest first holes at the origin unless that is kept."""
    found = scene.candidates
    order = sorted(range(len(found)), key=lambda i: (-found[i].axis, *np.round(found[i].first[::-1], 3)))
    origin = np.zeros(3) if keep_origin else np.min([c.first for c in found], axis=0)
    moved = scene.with_photos(_shifted(p, -origin) for p in scene.photos)
    return moved.with_candidates(
        [replace(found[i], first=found[i].first - origin) for i in order], [scene.ends[i] for i in order]
    )


def _shifted(photo: PosedPhoto, shift: np.ndarray) -> PosedPhoto:
    """The photo in a world shifted by (3,) pitches."""
    c = photo.camera
    return replace(photo, camera=c.posed(c.R, c.t - c.R @ shift))


def _members_of(scene: Scene, labels: Sequence[str]) -> list[Member]:
    """Members along the axes, from the scene's candidates."""
    return [
        Member(
            name,
            as_tuple(np.round(c.first, 4) + 0.0),
            as_tuple(np.eye(3)[c.axis]),
            c.holes,
            scene.width,
            ends=(end_of(low, -1), end_of(high, 1)),
            seen=int(c.seen.sum()),
        )
        for name, c, (low, high) in zip(labels, scene.candidates, scene.ends)
    ]


def _joints_of(scene: Scene, members: Sequence[Member]) -> tuple[Joint, ...]:
    """Laps between the members, and what the photos show of their bolts."""
    joints = find_joints(members)
    states = bolt_states(scene, joints, {m.id: m for m in members})
    return tuple(replace(j, bolt=state) for j, state in zip(joints, states))


def _with_stocks(
    scene: Scene, members: Sequence[Member], stocks: Mapping[str, Stock], use: StockUse, pitch_mm: float
) -> list[Member]:
    """The members with the stock of each; those off the lattice, which come last, have the frame's."""
    found = member_stocks(scene, stocks, use, pitch_mm) if use.how != "given" else []
    found += [use.id or None] * (len(members) - len(found))
    return [replace(m, stock=s) for m, s in zip(members, found)]


def end_of(guess: EndGuess, way: int) -> End:
    """An end of a member from what is known of it.

    Parameters
    ----------
    guess : of the end
    way : -1 for the end at hole 0, 1 for the last

    Examples
    --------
    >>> import numpy as np
    >>> end = end_of(EndGuess(np.array([7, 8, 9]), np.log([0.7, 0.28, 0.02]), False), 1)
    >>> end.state, end.extra
    ('hidden', 1)

    An end is not seen where other members or the floor tell it, however surely.

    >>> certain = EndGuess(np.array([7, 8]), np.log([0.99, 0.01]), False, np.log([0.4, 0.6]))
    >>> end_of(certain, 1).state
    'hidden'
    """
    best = guess.best
    beyond = guess.hole > best if way > 0 else guess.hole < best
    possible = np.abs(guess.hole[beyond & (np.exp(guess.log_p) > LEAST_CHANCE)] - best)
    extra = int(possible.max()) if len(possible) else 0
    if guess.cut:
        return End("cut", max(extra, 1))
    return End("seen", 0) if guess.sure > SURE and guess.shown else End("hidden", extra)


def _photo_records(
    sources: Sequence[PhotoImage], scene: Scene, scales: Mapping[str, float]
) -> tuple[Photo, ...]:
    """All photos with their cameras, in their own pixels, or why they were set aside."""
    by_name = {p.name: p for p in scene.photos}
    reasons = dict(scene.set_aside)
    out = []
    for p in sources:
        if p.name in by_name:
            c = by_name[p.name].camera.resized(1 / scales[p.name])
            camera = Camera(
                round(c.f, 4),
                round(c.cx, 3),
                round(c.cy, 3),
                round(c.k1, 6),
                round(c.k2, 6),
                c.R.round(9),
                c.t.round(6),
            )
            out.append(Photo(p.name, p.size, True, "", camera))
        else:
            out.append(Photo(p.name, p.size, False, reasons.get(p.name, "not used")))
    return tuple(out)
