"""From where to photograph next: sentences for made-up frames seen from the front."""

import re
from dataclasses import replace

import numpy as np
import pytest

from recon.frame.model import End, Frame, Member
from recon.solve.result.viewpoints import where_to_photograph
from tests.solve.scenes import camera_round, photo_of, shoot

WALL = [Member(f"W{k}", (0.0, 0.0, float(k)), (1, 0, 0), 12) for k in range(8)]  # rails one on another
BEHIND = Member("B", (6.0, 3.0, 0.0), (0, 0, 1), 6)  # a post behind the wall, seen from y < 0
HIDDEN = (End("seen"), End("hidden", 2))


def sentences(members, azimuths=(-90,), elevation=10):
    frame = Frame(tuple(members))
    photos = [
        photo_of(shoot(frame, camera_round(frame, a, elevation), clutter=5), f"photo_{i}.jpg")
        for i, a in enumerate(azimuths)
    ]
    return where_to_photograph(photos, members, 1.0)


def test_nothing_is_said_where_all_is_sure():
    assert sentences([*WALL, BEHIND]) == []


@pytest.mark.parametrize("how", [{"ends": HIDDEN}, {"confidence": 0.5}], ids=["hidden end", "weak member"])
def test_a_member_that_is_not_sure_is_named_and_no_other(how):
    (text,) = sentences([*WALL, replace(BEHIND, **how)])
    assert text.startswith("Not all of B could be seen. A photo from ")
    assert "W" not in text


def test_several_members_are_named_in_order():
    rails = [replace(m, ends=HIDDEN) if m.id in ("W1", "W3", "W6") else m for m in WALL]
    (text,) = sentences([*rails, BEHIND])
    assert "Not all of W1, W3 and W6 could be seen." in text


def test_what_a_wall_hides_is_to_be_photographed_from_behind_it():
    (text,) = sentences([*WALL, replace(BEHIND, ends=HIDDEN)])
    degrees = int(re.search(r"(\d+)° further round the frame", text)[1])
    assert 90 < degrees <= 180 and "photo_0.jpg" in text


def test_the_side_is_that_of_the_nearest_photo_as_the_photographer_walks():
    """Counter-clockwise seen from above is to the right of who looks at the frame."""
    (text,) = sentences([*WALL, replace(BEHIND, ends=HIDDEN)], azimuths=(-90, 30))
    side, photo = re.search(r"to the (right|left) of where (photo_\d)", text).groups()
    degrees = int(re.search(r"(\d+)° further", text)[1])
    azimuth = np.radians({"photo_0": -90, "photo_1": 30}[photo] + (degrees if side == "right" else -degrees))
    assert np.sin(azimuth) > 0  # behind the wall, whose front looks towards -y


def test_what_no_place_shows_is_only_named():
    """A member closed in on all sides."""
    inner = Member("I", (6.0, 0.0, 3.0), (1, 0, 0), 1, ends=HIDDEN)
    shell = [
        Member(f"S{i}", (float(x), float(y), float(z)), (1, 0, 0), 1)
        for i, (x, y, z) in enumerate(
            (6 + dx, dy, 3 + dz)
            for dx in (-1, 0, 1)
            for dy in (-1, 0, 1)
            for dz in (-1, 0, 1)
            if dx or dy or dz
        )
    ]
    assert sentences([*shell, inner]) == ["Not all of I could be seen."]
