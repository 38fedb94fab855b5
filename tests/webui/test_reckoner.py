"""What follows from a frame is reckoned in a process of its own, always of the newest version."""

import json
import threading
from dataclasses import replace

import pytest

from recon.corrections.edits import edit
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.stock import load_stocks
from tests.webui.browsing import true_frame
from tests.webui.frames import scaffold
from webui.processes.derived import ANSWERS, Reckoner
from webui.storage.build import Build

STOCKS = load_stocks()


@pytest.fixture
def build(tmp_path):
    build = Build(tmp_path / "b")
    build.change(lambda _: (State(true_frame()), "frame"))
    yield build
    build.close()


@pytest.fixture
def reckoner(build):
    reckoner = Reckoner(build, STOCKS)
    yield reckoner
    reckoner.close()


def change(build, **ask):
    build.change(lambda state: edit(state, ask, STOCKS))


def test_answers_after_edits_and_undo_are_those_of_the_whole_state(build, reckoner):
    for step in (
        lambda: None,
        lambda: change(build, op="end", member="A", end=1, by=1),
        lambda: change(build, op="delete", members=["B"]),
        lambda: change(build, op="turn", quarter="x+"),
        build.undo,
        build.undo,
    ):
        step()
        for what in ("doubts", "parts"):
            assert json.loads(reckoner.of(what)) == {
                "n": build.n,
                **json.loads(json.dumps(ANSWERS[what](build.state, STOCKS, build.folder))),
            }


def test_one_process_answers_all_and_an_ended_one_is_replaced(build, reckoner):
    reckoner.of("doubts")
    first = reckoner._process
    change(build, op="end", member="A", end=1, by=1)
    reckoner.of("doubts")
    assert reckoner._process is first
    first.kill()
    change(build, op="end", member="A", end=1, by=1)
    with pytest.raises(ReconError, match="memory"):
        reckoner.of("doubts")
    assert json.loads(reckoner.of("doubts"))["n"] == build.n and reckoner._process is not first


def test_a_version_that_cannot_be_reckoned_is_told_and_the_next_one_can(build, reckoner):
    with pytest.raises(RuntimeError, match="KeyError"):
        reckoner.of("nothing known")
    assert json.loads(reckoner.of("doubts"))["n"] == build.n


def test_a_newer_version_ends_the_long_reckoning_of_an_older_one(build):
    build.change(lambda _: (State(replace(scaffold(300).frame, joints=())), "large"))
    reckoner, told = Reckoner(build, STOCKS, give_up=True), []
    begun = threading.Event()
    send = reckoner._send
    reckoner._send = lambda process, data: (send(process, data), begun.set() if "what" in data else None)

    def older():
        with pytest.raises(ReconError, match="changed"):
            reckoner.of("checks")
        told.append("older")

    thread = threading.Thread(target=older)
    thread.start()
    try:
        assert begun.wait(60)
        build.change(lambda _: (State(true_frame()), "small"))
        assert json.loads(reckoner.of("checks"))["n"] == build.n
        thread.join(60)
        assert told == ["older"]
    finally:
        reckoner.close()
