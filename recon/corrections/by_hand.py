"""Camera and members that rows drawn by hand on one photo mean, taken into a frame on the user's word."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from recon.corrections import users_word
from recon.corrections.laps import clashes
from recon.corrections.members import VOUCHED_END, free_label, put
from recon.corrections.state import State
from recon.corrections.users_word import lies_on
from recon.frame.model import Frame, Member, Photo, StockUse
from recon.frame.stock import Stock
from recon.geometry.camera import Camera
from recon.workshop.wording import plural


def with_camera(state: State, photo: str, size: tuple[int, int], camera: Camera) -> State:
    """The state with a photo's camera, as it is known by hand.

    Examples
    --------
    >>> state = with_camera(State(), "a.jpg", (800, 600), Camera(900.0, 399.5, 299.5))
    >>> [(p.file, p.used, p.camera is not None) for p in state.frame.photos]
    [('a.jpg', True, True)]
    """
    posed = Photo(photo, size, camera=camera)
    photos = [posed if p.file == photo else p for p in state.frame.photos]
    if posed not in photos:
        photos.append(posed)
    frame = replace(state.frame, photos=tuple(photos))
    aside = tuple(f for f in state.corrections.set_aside if f != photo)
    corrections = state.corrections
    return State(
        frame, corrections if aside == corrections.set_aside else corrections.changed(set_aside=aside)
    )


def with_members_by_hand(
    state: State,
    photo: str,
    size: tuple[int, int],
    camera: Camera,
    members: Sequence[Member],
    stock: Stock | None = None,
) -> tuple[State, str]:
    """The state with a photo's camera and the members that its rows mean.

    Members that lie on known ones, or take their room, are not added again.

    Parameters
    ----------
    state : State
    photo : str
    size : tuple of int
        Width and height of the photo, px.
    camera : Camera
        In the frame's world where it has members, else in that of `members`.
    members : sequence of Member
    stock : Stock, optional
        That the members are of; that of the frame by default.

    Returns
    -------
    state : State
    words : str

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> state, words = with_members_by_hand(State(), "a.jpg", (800, 600), Camera(900.0, 399.5, 299.5), [post])
    >>> words, state.frame.member("A").holes, state.corrections.vouched("A").wholly
    ('1 member and the camera of a.jpg by hand', 12, True)
    """
    before, added = state, []
    state = with_camera(state, photo, size, camera)
    if stock and not state.frame.members:
        use = StockUse(stock.id, "given", 1.0)
        frame = replace(state.frame, stock=use, pitch_mm=state.frame.pitch_mm or stock.pitch_mm)
        state = State(frame, state.corrections.changed(stock_given=True))
    for m in members:
        new = replace(
            m,
            id=free_label(state.frame),
            stock=_stock_id(state.frame, stock),
            confidence=1.0,
            ends=(VOUCHED_END, VOUCHED_END),
        )
        trial = replace(state.frame, members=put(state.frame, new))
        if lies_on(new, state.frame.members) or clashes(trial, {new.id}):
            continue
        state = State(trial, users_word.vouch_wholly(state.corrections, [new.id]))
        added.append(new.id)
    after = users_word.uphold(before, state, renewed=set(added), moved=set(added))
    what = f"{plural(len(added), 'member')} and the camera" if added else "The camera"
    return after, f"{what} of {photo} by hand"


def _stock_id(frame: Frame, stock: Stock | None) -> str | None:
    if stock:
        return stock.id
    return frame.members[0].stock if frame.members else None
