"""Whatever bytes a file has: it is read, or a sentence says what is wrong with it.

A fixed small budget for each parser; `python -m tests.fuzz SECONDS` goes on for as long as one likes.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz import PARSERS, damaged, parses


@pytest.mark.parametrize("name", PARSERS)
def test_a_damaged_file_is_read_or_refused_in_a_sentence(name, tmp_path_factory):
    folder = tmp_path_factory.mktemp(name.replace(" ", "-"))

    @settings(max_examples=PARSERS[name].tries)
    @given(st.data())
    def tried(data):
        parses(name, data.draw(damaged(name)), folder)

    tried()


@pytest.mark.parametrize("name", PARSERS)
def test_a_file_that_is_whole_is_read(name, tmp_path):
    for whole in PARSERS[name].examples:
        assert parses(name, whole, tmp_path) is None
