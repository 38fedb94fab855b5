"""A length between two openings: how many pitches a straight tape covers, and what a tape can tell."""

import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame.length import SIZE_DOUBTS
from recon.frame.model import Frame, Member
from recon.frame.stock import load_stocks
from recon.frame.tape import (
    Spot,
    disagreement,
    in_the_way,
    pitch_of,
    pitches_between,
    pitches_words,
    place,
    slack_mm,
    spots_words,
)

STOCKS = load_stocks()
A = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 16)
B = Member("B", (5.0, -1.0, 3.0), (1.0, 0.0, 0.0), 8)
C = Member("C", (2.5, -0.3, -2.0), (0.0, 0.0, 1.0), 12)
BRACE = Member("D", (0.0, -1.0, 0.0), (0.6, 0.0, 0.8), 11, on_lattice=False)
FRAME = Frame((A, B, BRACE))


def facing(member, way):
    """The face of a member that is turned that way."""
    from recon.frame.boxes import face_normals

    return int((face_normals(member)[2:] @ np.array(way)).argmax())


def spot(member, hole, way):
    return Spot(member.id, hole, facing(member, way))


def test_on_one_face_the_distance_is_the_number_of_steps_from_hole_to_hole():
    assert pitches_between(FRAME, spot(A, 0, (0, -1, 0)), spot(A, 15, (0, -1, 0))) == 15
    assert pitches_between(FRAME, spot(BRACE, 2, (0, -1, 0)), spot(BRACE, 8, (0, -1, 0))) == 6


def test_between_members_it_is_the_straight_line_between_the_two_faces():
    # Hole 2 of A on its face y = -0.5 lies at (0, -0.5, 1); hole 4 of B on its face y = -1.5 at (8, -1.5, 3).
    a, b = spot(A, 1, (0, -1, 0)), spot(B, 3, (0, -1, 0))
    assert np.allclose(place(A, a), (0, -0.5, 1)) and np.allclose(place(B, b), (8, -1.5, 3))
    assert pitches_between(FRAME, a, b) == pytest.approx(np.sqrt(64 + 1 + 4))


@pytest.mark.parametrize(
    "a, b, why",
    [
        (Spot("A", 3, 0), Spot("A", 3, 0), "same opening"),
        (Spot("A", 3, 0), Spot("A", 9, 1), "different faces"),
        (Spot("A", 3, 0), Spot("A", 3, 2), "different faces"),
    ],
)
def test_what_no_tape_can_lie_on_is_refused(a, b, why):
    with pytest.raises(ReconError, match=why):
        pitches_between(FRAME, a, b)


def test_openings_of_two_members_that_coincide_are_refused():
    # A lap: hole 4 of C on A's face and hole 6 of A under it are one hole.
    lapped = Frame((A, Member("C", (0.0, -1.0, 2.0), (0.0, 0.0, 1.0), 5)))
    with pytest.raises(ReconError, match="less than a pitch"):
        pitches_between(lapped, spot(A, 4, (0, -1, 0)), spot(lapped.members[1], 2, (0, 1, 0)))


def test_a_member_between_is_in_the_way_and_one_that_the_tape_lies_on_is_not():
    a, b = spot(A, 5, (1, 0, 0)), spot(B, 3, (0, 0, 1))
    assert in_the_way(Frame((A, B, C)), a, b) == ("C",)
    assert in_the_way(Frame((A, B)), a, b) == ()
    assert in_the_way(FRAME, spot(A, 0, (1, 0, 0)), spot(A, 15, (1, 0, 0))) == ()
    assert in_the_way(Frame((A, B)), spot(A, 5, (-1, 0, 0)), b) == (
        "A",
    )  # from the far face, through A itself
    assert in_the_way(Frame((A, B)), a, spot(B, 3, (0, 0, -1))) == ("B",)


def test_words_count_from_one():
    assert spots_words(Spot("A", 0, 0), Spot("A", 15, 0)) == "hole 1 to hole 16 of A"
    assert spots_words(Spot("A", 2, 0), Spot("C", 10, 1)) == "hole 3 of A to hole 11 of C"
    assert [pitches_words(x) for x in (1, 15.0, 8.30662)] == ["1 pitch", "15 pitches", "8.307 pitches"]


def test_a_pitch_out_of_all_reason_is_refused():
    assert pitch_of(609.6, 16) == 38.1
    for mm in (10, 20_000):
        with pytest.raises(ReconError, match="must be 1 to 1000 mm"):
            pitch_of(mm, 15)


def test_what_measuring_explains_is_no_disagreement_and_more_is():
    stock = STOCKS["softwood-38"]
    assert slack_mm(610) == pytest.approx(3.7) and slack_mm(2400) == pytest.approx(4.1)
    assert disagreement(610, 16, stock, STOCKS) is None  # 0.4 mm off 609.6
    assert disagreement(613.2, 16, stock, STOCKS) is None  # 3.6 mm
    text = disagreement(640, 16, stock, STOCKS)
    assert text.startswith(SIZE_DOUBTS) and "40.00 mm" in text and "38.1 mm" in text and "609.6 mm" in text
    # The same 5 % over three holes are told, over one they are not: a short length tells little.
    assert disagreement(3 * 40, 3, stock, STOCKS) and disagreement(40, 1, stock, STOCKS) is None


def test_a_stock_that_would_fit_the_measure_is_named():
    pitches = {s.pitch_mm for s in STOCKS.values()}
    one = next(
        s
        for s in STOCKS.values()
        for t in STOCKS.values()
        if abs(s.width - t.width) < 0.01 and abs(s.pitch_mm / t.pitch_mm - 1) > 0.04
    )
    other = next(
        t
        for t in STOCKS.values()
        if abs(one.width - t.width) < 0.01 and abs(one.pitch_mm / t.pitch_mm - 1) > 0.04
    )
    assert len(pitches) > 1
    assert "It would fit" in disagreement(20 * other.pitch_mm, 20, one, STOCKS)
