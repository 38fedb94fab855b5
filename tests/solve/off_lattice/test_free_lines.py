"""Lines of openings that neither the lattice nor two pins predict, on made-up photos of posts and a rail."""

import numpy as np
import pytest

from recon.frame.model import Frame, Member
from recon.solve.off_lattice.free_lines import MOST_LINES, free_lines
from recon.solve.off_lattice.search import start_search
from tests.solve.scenes import camera_round, candidates_of, photo_of, scene_of, shoot

POSTS = (Member("A", (0, 0, 0), (0, 0, 1), 14), Member("B", (8, 0, 0), (0, 0, 1), 14))
RAIL = Member("C", (-1, 1, 2), (1, 0, 0), 12)
SLANT = np.radians(23)
# Flush with the posts' front, where no two pins could hold them.
SLANTED = Member("H", (-1.27, -1, 5.34), (np.cos(SLANT), 0, np.sin(SLANT)), 12, on_lattice=False)
HALF = Member("G", (-1.5, -1, 12.37), (1, 0, 0), 11, on_lattice=False)


def lines_of(members, known=(*POSTS, RAIL), clutter=150, azimuths=(-60, -120)):
    """Free lines among what the known members leave unexplained in photos of all members."""
    frame = Frame(tuple(members))
    photos = [
        photo_of(shoot(frame, camera_round(frame, a, 15), i, clutter=clutter), f"photo {i}")
        for i, a in enumerate(azimuths)
    ]
    return free_lines(start_search(scene_of(photos, candidates_of(Frame(tuple(known))))).scene)


def on_line(line, count, member):
    """Does the line run along the member, and do its holes reach over most of it?"""
    off = np.asarray(member.first) - line.first
    along = off @ line.direction
    aside = np.linalg.norm(off - along * line.direction)
    alike = abs(line.direction @ member.direction) > np.cos(np.radians(1.5))
    return alike and aside < 0.1 and 0.7 * member.holes <= count <= member.holes + 2


@pytest.mark.parametrize("member", [SLANTED, HALF], ids=["slanted", "half a hole off"])
def test_the_line_of_a_member_off_the_lattice_is_the_first(member):
    (line, count), *_ = lines_of((*POSTS, RAIL, member))
    assert on_line(line, count, member)


def test_holes_fall_on_the_members_own():
    (line, count), *_ = lines_of((*POSTS, RAIL, HALF))
    steps = (line.holes(np.arange(count)) - HALF.first) @ HALF.direction
    assert np.abs(steps - np.rint(steps)).max() < 0.1


def test_a_line_nearly_along_an_axis_is_laid_along_it():
    (line, _), *_ = lines_of((*POSTS, RAIL, HALF))
    assert np.abs(line.direction).max() == 1


@pytest.mark.parametrize("member", [SLANTED, HALF], ids=["slanted", "half a hole off"])
def test_no_line_comes_twice_and_clutter_gives_few(member):
    lines = lines_of((*POSTS, RAIL, member), clutter=300)
    assert sum(on_line(line, count, member) for line, count in lines) == 1
    assert len(lines) <= MOST_LINES


def test_members_that_are_known_give_no_lines():
    assert not lines_of((*POSTS, RAIL), clutter=0)


def test_a_member_that_touches_none_that_is_known_is_not_sought():
    far = Member("K", (-1.5, -4.3, 12.37), (1, 0, 0), 11, on_lattice=False)
    assert not any(on_line(line, count, far) for line, count in lines_of((*POSTS, RAIL, far), clutter=0))
