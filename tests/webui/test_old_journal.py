"""A journal of an older program opens, and what this one writes in its place is the same, byte for byte."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from recon.corrections import merge
from recon.corrections.edits import edit
from recon.corrections.merge import ReadingRequest
from recon.corrections.state import State, difference, patched
from recon.frame.stock import load_stocks
from webui.storage.build import Build
from webui.storage.journal import NAME, entry_of, line_of

DATA = Path(__file__).parent / "data"
STOCKS = load_stocks()


@pytest.fixture(scope="module")
def entries():
    return [entry_of(line) for line in (DATA / NAME).read_bytes().splitlines(keepends=True)][1:]


@pytest.fixture(scope="module")
def steps():
    return [json.loads(line) for line in (DATA / "steps.jsonl").read_text().splitlines()]


def test_it_opens_with_all_its_versions(tmp_path, entries):
    shutil.copy(DATA / NAME, tmp_path / NAME)
    build = Build(tmp_path)
    assert build.n == len(entries) and len(build.moments) == len(entries) + 1
    assert build.state.frame.members and build.state.corrections.deleted
    while build.can()["undo"]:
        build.undo()
    build.close()
    assert build.state == State()


def test_each_of_its_differences_is_written_again_as_it_was(tmp_path, entries):
    shutil.copy(DATA / NAME, tmp_path / NAME)
    build = Build(tmp_path)
    for entry in entries:
        if "delta" in entry:
            moment = build.moments[entry["n"]]
            delta = difference(moment.parent.state, moment.state)
            assert line_of({**entry, "delta": delta}) == line_of(entry)
    build.close()


def without_confidence(state):
    """A state but for how sure its members are: an end that a person moves is sure nowadays."""
    frame, corrections = state.frame, state.corrections
    unsure = [[replace(m, confidence=0.0) for m in some] for some in (frame.members, corrections.deleted)]
    return State(
        replace(frame, members=tuple(unsure[0])),
        replace(corrections, deleted=type(corrections.deleted)(unsure[1])),
    )


def test_the_same_steps_lead_to_the_same_states(tmp_path, entries, steps):
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    shutil.copy(DATA / NAME, tmp_path / "old" / NAME)
    old, build = Build(tmp_path / "old"), Build(tmp_path / "new")
    first = entries[0]
    build.change(lambda _: (patched(State(), first["delta"]), first["words"]), kind="reading")
    for step in steps:
        if "undo" in step:
            build.undo()
        elif "edit" in step:
            build.change(lambda state: edit(state, step["edit"], STOCKS))
        else:
            build.change(lambda state: read(state, step), kind="reading")
    lines = (tmp_path / "new" / NAME).read_bytes().splitlines(keepends=True)[1:]
    assert [entry_of(line)["kind"] for line in lines] == [entry["kind"] for entry in entries]
    assert sorted(build.moments) == sorted(old.moments)
    for n, now in build.moments.items():
        assert without_confidence(now.state) == without_confidence(old.moments[n].state), n
    old.close()
    build.close()


def read(state, step):
    request = ReadingRequest(**step["request"])
    frame = patched(State(), step["reading"]).frame
    new = merge.merge_reading(merge.without_reading_request(state, request), frame)
    new = merge.with_reading_request(new, request)
    return new, merge.reading_words(state, new)
