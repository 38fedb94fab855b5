"""Reading again around corrections: they stay, the rest is solved anew, disagreements are reported."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from recon import solve
from recon.frame.lattice import transform
from recon.frame.model import as_tuple
from recon.frame.stock import load_stocks
from recon.geometry.lattice import rotations
from recon.image.openings import OPENING
from recon.image.photos import load_photo
from recon.solve.priors.constraints import Constraints, apply_marks

TRESTLE = Path(__file__).parents[3] / "sample_images" / "trestle"
PHOTOS = [load_photo(TRESTLE / f"photo_{k}.jpg") for k in (1, 2, 3)]
STOCKS = load_stocks()
DETECTED: dict = {}


@cache
def first():
    """The frame as read without corrections, then turned, shifted and labelled as a user might."""
    frame = solve.read(PHOTOS, stocks=STOCKS, detected=DETECTED).frame
    frame = transform(frame, rotations()[7], (3, -5, 2))
    names = {m.id: f"M{i}" for i, m in enumerate(frame.members)}
    return replace(frame, members=tuple(replace(m, id=names[m.id]) for m in frame.members), joints=())


def around(members, ends, deleted=(), photos=PHOTOS, **options):
    frame = replace(first(), members=tuple(members))
    return solve.read(
        photos,
        stocks=STOCKS,
        detected=DETECTED,
        constraints=Constraints(frame, ends, tuple(deleted)),
        **options,
    )


def places(members):
    """id -> the centres of its end holes, in order."""
    return {m.id: sorted(map(tuple, np.round([m.first, m.last], 6))) for m in members}


def longest(count=2):
    return sorted(first().members, key=lambda m: -m.holes)[:count]


def test_openings_are_looked_for_once():
    first()
    assert set(DETECTED) == {p.name for p in PHOTOS} and all(t.dtype == OPENING for t in DETECTED.values())
    few = {name: table[:300] for name, table in DETECTED.items()}
    assert len(solve.read(PHOTOS[:1], stocks=STOCKS, detected=few).openings[PHOTOS[0].name]) <= 300


def test_with_nothing_to_change_place_and_labels_stay():
    got = around(first().members, {m.id: (True, True) for m in longest()})
    assert places(got.frame.members) == places(first().members) and got.against == []


def test_corrections_stay_and_the_rest_is_solved_around_it():
    """One member is made two holes too long by the user, one is deleted though it is there; of the members
    without corrections one is three holes short, one is left out, and one is made up."""
    members = list(first().members)
    kept, deleted, short, out, *_ = sorted(members, key=lambda m: (-m.seen, m.id))
    longer = replace(kept, holes=kept.holes + 2)
    made_up = replace(short, id="M99", first=as_tuple(np.array(short.first) + 40), holes=6)
    changed = {kept.id: longer, short.id: replace(short, holes=short.holes - 3)}
    start = [changed.get(m.id, m) for m in members if m.id not in (deleted.id, out.id)] + [made_up]
    got = around(start, {kept.id: (True, True)}, [deleted])
    now = places(got.frame.members)
    true = places(members)
    assert now[kept.id] == places([longer])[kept.id]
    assert now[short.id] == true[short.id]  # it was not corrected, and the photos show it
    assert true[out.id] in now.values() and true[deleted.id] not in now.values() and "M99" not in now
    rest = set(true) - {kept.id, deleted.id, out.id}
    assert sum(now.get(id) == true[id] for id in rest) >= len(rest) - 1
    against = {a.member.id: a for a in got.against}
    assert set(against) == {kept.id, deleted.id} and against[deleted.id].deleted
    assert places([against[kept.id].shown])[kept.id] == true[kept.id]


def test_a_fixed_end_stays_and_the_other_follows_the_photos():
    m = longest(1)[0]
    wrong = replace(
        m, first=as_tuple(m.hole_centre(4)), holes=m.holes - 4 + 1
    )  # four short at hole 0, one long at the other
    got = around([wrong if x.id == m.id else x for x in first().members], {m.id: (False, True)})
    want = replace(m, holes=m.holes + 1)
    assert places(got.frame.members)[m.id] == places([want])[m.id]
    assert [a.member.id for a in got.against] == [m.id]


def test_a_member_that_no_photo_shows_stays_and_that_is_reported():
    low = np.array([m.first for m in first().members]).min(0)
    high = np.array([m.last for m in first().members]).max(0)
    axis = int((high - low).argmax())
    ghost = replace(
        first().members[0],
        id="M50",
        first=as_tuple((low + high) // 2 + [0, 0, 0]),
        direction=as_tuple(np.eye(3)[axis]),
        holes=7,
    )
    if any(np.abs(np.array(m.hole_centres()) - ghost.first).max(1).min() < 8 for m in first().members):
        ghost = replace(ghost, first=as_tuple(low - 9))
    got = around([*first().members, ghost], {"M50": (True, True)})
    assert places(got.frame.members)["M50"] == places([ghost])["M50"]
    others = set(places(first().members)) - {"M50"}
    assert (
        sum(places(got.frame.members).get(id) == places(first().members)[id] for id in others)
        >= len(others) - 1
    )


def test_a_photo_added_later_is_laid_on_the_members_that_are_known():
    new = PHOTOS[2].name
    frame = replace(
        first(),
        photos=tuple(replace(p, used=False, camera=None) if p.file == new else p for p in first().photos),
    )
    got = solve.read(
        PHOTOS,
        stocks=STOCKS,
        detected=DETECTED,
        constraints=Constraints(frame, {longest(1)[0].id: (True, True)}),
    )
    was = next(p for p in first().photos if p.file == new).camera
    assert got.set_aside == [] and np.linalg.norm(got.cameras[new].centre - was.centre) < 0.5


def test_a_stranger_added_later_is_set_aside():
    cart = replace(load_photo(TRESTLE.parent / "cart" / "photo_1.jpg"), name="stranger.jpg")
    got = around(first().members, {longest(1)[0].id: (True, True)}, photos=[*PHOTOS, cart])
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
