"""Corrections and their JSON: there and back, whole or as a difference."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.corrections.codec import (
    corrections_difference,
    corrections_from_json,
    corrections_to_json,
    disagreement_from_json,
)
from recon.corrections.model import (
    Corrections,
    Disagreement,
    LapBolt,
    LapWord,
    MeasuredLength,
    NotShown,
    PhotoMarks,
    ShownAlong,
    VouchedMember,
)
from recon.corrections.state import State, patched
from recon.errors import ReconError
from recon.frame.model import End, EndChoice, Member

IDS = st.text("ABCDEF", min_size=1, max_size=2)
HOLES = st.integers(0, 40)
PLACES = st.floats(-1000, 1000).map(lambda v: v + 0.0)
POINTS = st.tuples(PLACES, PLACES)
LAPS = st.tuples(IDS, HOLES, IDS, HOLES)
CHOICES = st.builds(EndChoice, st.integers(1, 40), st.floats(0, 1), st.none() | st.just("D"))
ENDS = st.builds(
    End,
    st.sampled_from(("seen", "hidden", "cut")),
    st.integers(0, 9),
    st.lists(CHOICES, max_size=3).map(tuple),
)
VECTORS = st.tuples(PLACES, PLACES, PLACES)
MEMBERS = st.builds(
    Member,
    IDS,
    VECTORS,
    VECTORS,
    st.integers(1, 99),
    st.floats(0.1, 3),
    st.none() | IDS,
    st.floats(0, 1),
    st.tuples(ENDS, ENDS),
    st.booleans(),
    st.integers(0, 99),
)
SHOWN = (
    st.none()
    | st.just(NotShown())
    | st.builds(ShownAlong, st.integers(-9, 9), st.integers(1, 40), st.none() | st.integers(0, 5))
)


def tuples(items):
    return st.lists(items, max_size=3).map(tuple)


MARKS = st.builds(PhotoMarks, tuples(POINTS), tuples(POINTS))
VOUCHED = st.builds(VouchedMember, st.booleans(), st.tuples(st.booleans(), st.booleans()))


LISTS = {
    "members": st.dictionaries(IDS, VOUCHED),
    "deleted": tuples(MEMBERS),
    "laps": tuples(st.builds(LapWord, LAPS, st.sampled_from(("joined", "apart", "seen", "said", "none")))),
    "marks": st.dictionaries(IDS, MARKS, max_size=3),
    "may_turn": tuples(LAPS),
    "set_aside": tuples(IDS),
    "disagreements": tuples(st.builds(Disagreement, tuples(IDS), IDS, SHOWN)),
    "settled": tuples(IDS),
    "notes_seen": tuples(IDS),
    "bolts": tuples(
        st.builds(LapBolt, LAPS, st.sampled_from(("seen", "none")))
        | st.builds(LapBolt, LAPS, st.sampled_from(("said", "none")), st.just("person"))
    ),
}
MEASURED = st.builds(
    MeasuredLength, st.floats(1, 1e5), st.floats(1, 99) | st.integers(1, 99), st.none() | IDS
)


@st.composite
def corrections(draw):
    """Corrections as edits and readings leave them: some lists never spoken of, some emptied."""
    names = draw(st.sets(st.sampled_from(sorted(LISTS))))
    found = Corrections(
        measured=draw(st.none() | st.just(MeasuredLength()) | MEASURED), stock_given=draw(st.booleans())
    )
    return found.changed(**{name: draw(LISTS[name]) for name in sorted(names)})


@given(corrections())
def test_corrections_come_back_from_their_json(said):
    assert corrections_from_json(json.loads(json.dumps(corrections_to_json(said)))) == said


@given(corrections(), corrections())
def test_a_difference_leads_from_one_to_the_other(old, new):
    delta = json.loads(json.dumps(corrections_difference(old, new)))
    assert corrections_from_json(delta, old) == new
    assert not corrections_difference(new, new)


def test_what_was_emptied_is_written_and_what_was_never_said_is_not():
    never, emptied = Corrections(), Corrections().changed(marks={}, settled=())
    assert corrections_to_json(never) == {} and corrections_to_json(emptied) == {"marks": {}, "settled": []}
    assert corrections_difference(emptied, never) == {"marks": None, "settled": None}


def test_a_length_of_an_older_build_is_known_to_have_been_measured_and_no_more():
    said = corrections_from_json({"scale": True})
    assert said.measured == MeasuredLength() and corrections_to_json(said) == {"scale": True}


def test_a_disagreement_of_an_older_build_does_not_say_what_the_photos_show():
    assert disagreement_from_json({"members": ["A"], "text": "x"}) == Disagreement(("A",), "x", None)


@pytest.mark.parametrize(
    "said",
    [
        {"members": 5},
        {"members": {"A": {}}},
        {"laps": [["A", 1, "apart"]]},
        {"gone": [{"id": "A"}]},
        {"marks": {"a.jpg": {"missed": [[1]], "false": []}}},
        {"conflicts": [{}]},
        {"scale": {"mm": 3}},
    ],
)
def test_corrections_without_sense_are_refused_in_words(said):
    with pytest.raises(ReconError, match="makes no sense"):
        patched(State(), {"said": said})
