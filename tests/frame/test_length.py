"""Lengths in words, and the one measured length."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.length import KnownLength, both_text, inch_text, mm_text, parse_known_length, parse_mm


@pytest.mark.parametrize(
    "text, mm",
    [
        ("610 mm", 610),
        ("61cm", 610),
        ("0.61 m", 610),
        ("609,6 mm", 609.6),
        ("24 in", 609.6),
        ('24"', 609.6),
        ("24 1/8 in", 612.775),
        ("24-1/8 inches", 612.775),
        ("24½ in", 622.3),
        ("7/16 in", 11.1125),
        ("24 1⁄2 in", 622.3),
        ("2 ft", 609.6),
        ("2 ft 3 in", 685.8),
        ("2' 3\"", 685.8),
        ("  24   IN ", 609.6),
        ("24”", 609.6),
        ("24″", 609.6),
    ],
)
def test_a_length_is_read_in_every_usual_writing(text, mm):
    assert parse_mm(text) == pytest.approx(mm)


@pytest.mark.parametrize(
    "text, remedy",
    [
        ("610", "no unit"),
        ("", "not a length"),
        ("mm", "not a length"),
        ("610 mmm", "not a length"),
        ("1/0 in", "divides by 0"),
        ("0 mm", "more than 0"),
        ("-5 mm", "not a length"),
        ("200 m", "at most 100 m"),
        ("nan mm", "not a length"),
        ("24 in or so", "not a length"),
    ],
)
def test_what_is_no_length_is_refused_with_a_remedy(text, remedy):
    with pytest.raises(ReconError, match=remedy):
        parse_mm(text)


@given(st.integers(min_value=1, max_value=16 * 2000))
def test_inches_in_words_read_back_as_the_same_sixteenths(sixteenths):
    mm = sixteenths * 25.4 / 16
    assert parse_mm(inch_text(mm)) == pytest.approx(mm)


@given(st.floats(min_value=0.1, max_value=90_000))
def test_words_are_within_half_a_sixteenth_and_half_a_tenth(mm):
    if mm >= 25.4 / 16:
        assert abs(parse_mm(inch_text(mm)) - mm) <= 25.4 / 32 + 1e-6
    assert abs(parse_mm(mm_text(mm)) - mm) <= 0.05 + 1e-6


def test_lengths_in_words():
    assert both_text(609.6) == "609.6 mm (24 in)"
    assert both_text(38.1) == "38.1 mm (1 1/2 in)"
    assert inch_text(0.1) == "0 in"


@pytest.mark.parametrize(
    "text, known",
    [
        ("A = 610 mm", KnownLength(610, member="A")),
        ("ab: 24 in", KnownLength(pytest.approx(609.6), member="AB")),
        ("16 holes = 24 1/8 in", KnownLength(612.775, holes=16)),
        ("16 HOLES=2 ft", KnownLength(pytest.approx(609.6), holes=16)),
        (
            "photo_1.jpg 310,420 820,455 = 610 mm",
            KnownLength(610, photo="photo_1.jpg", points_px=((310, 420), (820, 455))),
        ),
        ("my yard = west.jpg (310.5, 420) to (820, 455): 61 cm", None),
        (
            "my yard: west.jpg (310.5, 420) to (820, 455) = 61 cm",
            KnownLength(610, photo="my yard: west.jpg", points_px=((310.5, 420), (820, 455))),
        ),
    ],
)
def test_a_known_length_says_what_was_measured(text, known):
    if known is None:
        with pytest.raises(ReconError):
            parse_known_length(text)
    else:
        assert parse_known_length(text) == known


@pytest.mark.parametrize(
    "text",
    [
        "",
        "610 mm",
        "A 610 mm",
        "= 610 mm",
        "A =",
        "A = 610",
        "the long one = 610 mm",
        "0 holes = 610 mm",
        "p.jpg 1,1 2,2 = 610 mm",
        "p.jpg 1,1 = 610 mm",
        "A = B = ",
    ],
)
def test_what_says_nothing_measured_is_refused(text):
    with pytest.raises(ReconError):
        parse_known_length(text)


@given(st.text(max_size=60))
def test_any_text_is_a_known_length_or_a_sentence(text):
    try:
        assert parse_known_length(text).mm > 0
    except ReconError as error:
        assert str(error)
