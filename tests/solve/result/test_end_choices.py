"""Where an end that is not sure may be: what the solver's chances become in the frame file."""

import numpy as np
import pytest

from recon.frame.files import frame_from_dict, frame_to_dict
from recon.frame.model import End, EndChoice, Frame, Member
from recon.solve.evidence.candidate import EndGuess
from recon.solve.result.end_choices import end_choices, with_choices

RAIL = Member("A", (3.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8, ends=(End(), End("hidden", 2)))
LOW_POST = Member("B", (1.0, 1.0, -4.0), (0.0, 0.0, 1.0), 9)
HIGH_POST = Member("C", (12.0, 1.0, -4.0), (0.0, 0.0, 1.0), 9)
SURE = EndGuess(np.array([0]), np.zeros(1), False)


def guess(cut=False, **chances):
    """Chances of last holes: h7=0.6 for hole 7, m2=0.4 for hole -2."""
    holes = [int(k[1:]) * (-1 if k[0] == "m" else 1) for k in chances]
    return EndGuess(np.array(holes), np.log(list(chances.values())), cut)


def test_the_high_end_counts_holes_from_the_low_one_and_the_low_end_from_the_high_one():
    others = [LOW_POST, HIGH_POST]
    assert end_choices(RAIL, guess(h7=0.6, h9=0.4), 1, others) == (
        EndChoice(8, 0.6, None),
        EndChoice(10, 0.4, "C"),
    )
    assert end_choices(RAIL, guess(h0=0.4, m2=0.6), -1, others) == (
        EndChoice(10, 0.6, "B"),
        EndChoice(8, 0.4, None),
    )


def test_a_sure_end_and_one_that_can_be_in_one_place_alone_have_no_choices():
    assert end_choices(RAIL, guess(h7=0.95, h9=0.05), 1, []) == ()
    assert end_choices(RAIL, guess(h7=0.88, h8=0.04, h9=0.04, h10=0.04), 1, []) == ()


def test_the_present_end_is_among_the_choices_where_others_are_likelier():
    chosen = end_choices(RAIL, guess(h7=0.04, h8=0.5, h9=0.46), 1, [])
    assert [(c.holes, c.chance) for c in chosen] == [(9, 0.5), (10, 0.46), (8, 0.04)]


@pytest.mark.parametrize("cut", [False, True])
def test_a_frame_with_choices_is_written_and_read_again(cut):
    (rail,) = with_choices([RAIL], [(SURE, guess(cut, h7=0.6, h9=0.4))], [HIGH_POST])
    assert rail.ends[0] == End() and [c.at for c in rail.ends[1].choices] == [None, "C"]
    frame = Frame((rail, HIGH_POST))
    assert frame_from_dict(frame_to_dict(frame)).members == frame.members
