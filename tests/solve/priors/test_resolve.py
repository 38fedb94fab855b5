"""Reading again around corrections: they stay, the rest is solved anew, disagreements are reported."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from recon.frame.lattice import transform
from recon.frame.model import Member, as_tuple
from recon.geometry.lattice import rotations
from recon.image.openings import OPENING
from recon.solve import Reading
from recon.solve.priors.constraints import Constraints, apply_marks
from tests.solve.sample_readings import detected, openings, photo, read, reading

PHOTOS = [photo("trestle", k) for k in (1, 2, 3)]
DETECTED = detected("trestle")


@cache
def first():
    """The frame as read without corrections, then turned, shifted and labelled as a user might."""
    frame = transform(reading("trestle").frame, rotations()[7], (3, -5, 2))
    names = {m.id: f"M{i}" for i, m in enumerate(frame.members)}
    return replace(frame, members=tuple(replace(m, id=names[m.id]) for m in frame.members), joints=())


def around(members, ends, deleted=(), photos=PHOTOS, **more):
    """The frame solved again around these members, of which `ends` are fixed; `more` are openings found."""
    frame = replace(first(), members=tuple(members))
    return read(photos, {**DETECTED, **more}, constraints=Constraints(frame, ends, tuple(deleted)))


def places(members):
    """id -> the centres of its end holes, in order."""
    return {m.id: sorted(map(tuple, np.round([m.first, m.last], 6))) for m in members}


def longest(count=2):
    return sorted(first().members, key=lambda m: -m.holes)[:count]


def test_openings_are_looked_for_once():
    first()
    assert set(DETECTED) == {p.name for p in PHOTOS} and all(t.dtype == OPENING for t in DETECTED.values())
    few = {name: table[:300] for name, table in DETECTED.items()}
    assert len(read(PHOTOS[:1], few).openings[PHOTOS[0].name]) <= 300


def test_with_nothing_to_change_place_and_labels_stay():
    got = around(first().members, {m.id: (True, True) for m in longest()})
    assert places(got.frame.members) == places(first().members) and got.against == []


@dataclass(frozen=True)
class Corrected:
    """Members of the frame as it was read, what they were changed to, and the reading around them."""

    kept: Member  # made two holes too long by the user
    deleted: Member  # by the user, though it is there
    short: Member  # three holes short, without the user's word
    out: Member  # left out, without the user's word
    shifted: Member  # four holes short at one end, one hole long at the other, which the user fixed
    made_up: Member  # nowhere near, without the user's word
    ghost: Member  # where there is none, on the user's word
    got: Reading


def in_the_open(members) -> Member:
    """A member of seven holes where there is none: within the frame, as far from all others as can be."""
    holes = np.vstack([m.hole_centres() for m in members])
    low, high = holes.min(0), holes.max(0)
    axis = int((high - low).argmax())
    places = np.stack(np.meshgrid(*map(np.arange, low, high + 1 - 6 * np.eye(3)[axis])), -1).reshape(-1, 3)
    along = places[:, None] + np.arange(7)[:, None] * np.eye(3)[axis]
    room = cKDTree(holes).query(along)[0].min(axis=1)
    return Member("M50", as_tuple(places[room.argmax()]), as_tuple(np.eye(3)[axis]), 7, members[0].width)


@cache
def corrected() -> Corrected:
    members = list(first().members)
    kept, deleted, short, out, *rest = sorted(members, key=lambda m: (-m.seen, m.id))
    shifted = max(rest, key=lambda m: (m.holes, m.id))
    made_up = replace(short, id="M99", first=as_tuple(np.array(short.first) + 40), holes=6)
    ghost = in_the_open(members)
    changed = {
        kept.id: replace(kept, holes=kept.holes + 2),
        short.id: replace(short, holes=short.holes - 3),
        shifted.id: replace(shifted, first=as_tuple(shifted.hole_centre(4)), holes=shifted.holes - 4 + 1),
    }
    start = [changed.get(m.id, m) for m in members if m not in (deleted, out)] + [made_up, ghost]
    ends = {kept.id: (True, True), shifted.id: (False, True), "M50": (True, True)}
    got = around(start, ends, [deleted])
    return Corrected(kept, deleted, short, out, shifted, made_up, ghost, got)


def test_corrections_stay_and_what_was_not_corrected_follows_the_photos():
    c, true = corrected(), places(first().members)
    now = places(c.got.frame.members)
    assert now[c.kept.id] == places([replace(c.kept, holes=c.kept.holes + 2)])[c.kept.id]
    assert now[c.short.id] == true[c.short.id]
    assert true[c.out.id] in now.values() and true[c.deleted.id] not in now.values()
    assert c.made_up.id not in now
    rest = set(true) - {c.kept.id, c.deleted.id, c.out.id, c.shifted.id}
    assert sum(now.get(id) == true[id] for id in rest) >= len(rest) - 1


def test_what_the_photos_hold_against_the_user_is_reported_and_nothing_else():
    c = corrected()
    against = {a.member.id: a for a in c.got.against}
    assert set(against) == {c.kept.id, c.deleted.id, c.shifted.id, c.ghost.id}
    assert against[c.deleted.id].deleted and against[c.ghost.id].shown is None
    assert places([against[c.kept.id].shown])[c.kept.id] == places([c.kept])[c.kept.id]


def test_a_fixed_end_stays_and_the_other_follows_the_photos():
    c = corrected()
    want = replace(c.shifted, holes=c.shifted.holes + 1)
    assert places(c.got.frame.members)[c.shifted.id] == places([want])[c.shifted.id]


def test_a_member_that_no_photo_shows_stays_on_the_users_word():
    c = corrected()
    assert places(c.got.frame.members)[c.ghost.id] == places([c.ghost])[c.ghost.id]


def test_a_photo_added_later_is_laid_on_the_members_that_are_known():
    new = PHOTOS[2].name
    frame = replace(
        first(),
        photos=tuple(replace(p, used=False, camera=None) if p.file == new else p for p in first().photos),
    )
    got = read(PHOTOS, DETECTED, constraints=Constraints(frame, {longest(1)[0].id: (True, True)}))
    was = next(p for p in first().photos if p.file == new).camera
    assert got.set_aside == [] and np.linalg.norm(got.cameras[new].centre - was.centre) < 0.5


def test_a_stranger_added_later_is_set_aside():
    cart = replace(photo("cart", 1), name="stranger.jpg")
    got = around(
        first().members,
        {longest(1)[0].id: (True, True)},
        photos=[*PHOTOS, cart],
        **{cart.name: openings("cart", 1)},
    )
    assert [name for name, _ in got.set_aside] == ["stranger.jpg"]
    assert places(got.frame.members) == places(first().members)


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_marked_openings_join_the_detections_and_false_ones_leave(scale):
    table = np.zeros(4, OPENING)
    table["x"], table["y"] = [10, 30, 50, 70], 20
    table["major"], table["minor"], table["score"] = 6, 5, [4, 3, 2, 1]

    def px(x, y):
        return [(x + 0.5) / scale - 0.5, (y + 0.5) / scale - 0.5]

    got = apply_marks(table, [px(90, 20), px(31, 20)], [px(50.5, 20)], scale)
    assert sorted(np.round(got["x"], 6)) == [10, 30, 70, 90]  # where one was detected none is added
    new = got[np.round(got["x"]) == 90][0]
    assert (new["major"], new["minor"], new["score"]) == (6, 5, 4)
