"""The measurement of corrections puts right what is wrong, and only that."""

from dataclasses import replace

from recon.bench.again import corrected, corrections
from recon.frame.model import Frame, Member

X, Y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
TRUE = Frame(
    (
        Member("T0", (0, 0, 0), X, 10, 1.0),
        Member("T1", (0, 0, 1), Y, 8, 1.0),
        Member("T2", (5, 0, 1), Y, 8, 1.0),
    )
)
READ = Frame(
    (
        Member("A", (9, 0, 0), (-1.0, 0.0, 0.0), 10, 1.0),  # right, counted from the other end
        Member("B", (0, 1, 1), Y, 5, 1.0),  # short at both ends
        Member("C", (0, 9, 9), X, 4, 1.0),
    )
)  # not there; T2 is missing


def test_each_fault_is_put_right_once():
    todo = corrections(READ, TRUE)
    assert sorted((m.id if m else "", t.id if t else "") for m, t in todo) == [
        ("", "T2"),
        ("B", "T1"),
        ("C", ""),
    ]
    assert corrections(TRUE, TRUE) == []


def test_after_all_corrections_the_frame_is_true():
    frame, ends, gone = corrected(READ, corrections(READ, TRUE))
    assert corrections(frame, TRUE) == [] and set(ends) == {"B", "T2"} and [m.id for m in gone] == ["C"]
    assert corrections(replace(frame, members=frame.members[1:]), TRUE) != []
