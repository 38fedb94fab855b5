"""What follows from a frame is computed in a process of its own, always of the newest version."""

import json
import threading
from dataclasses import replace

import pytest

from recon.corrections.edits import edit
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.stock import load_stocks
from tests.corrections.frames import scaffold, true_frame
from tests.waiting import patience
from webui.processes.derived import ANSWERS, DerivedWorker, Question
from webui.storage.build import Build

STOCKS = load_stocks()


@pytest.fixture
def build(tmp_path):
    build = Build(tmp_path / "b")
    build.change(lambda _: (State(true_frame()), "frame"))
    yield build
    build.close()


@pytest.fixture
def worker(build):
    worker = DerivedWorker(build, STOCKS)
    yield worker
    worker.close()


def change(build, **ask):
    build.change(lambda state: edit(state, ask, STOCKS))


def test_answers_after_edits_and_undo_are_those_of_the_whole_state(build, worker):
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
            assert json.loads(worker.of(what)) == {
                "n": build.n,
                **json.loads(json.dumps(ANSWERS[what](Question(build.state, STOCKS, build.folder, {})))),
            }


def test_one_process_answers_all_and_an_ended_one_is_replaced(build, worker):
    worker.of("doubts")
    first = worker._process
    change(build, op="end", member="A", end=1, by=1)
    worker.of("doubts")
    assert worker._process is first
    first.kill()
    change(build, op="end", member="A", end=1, by=1)
    with pytest.raises(ReconError, match="memory"):
        worker.of("doubts")
    assert json.loads(worker.of("doubts"))["n"] == build.n and worker._process is not first


def test_once_closed_no_request_that_is_late_begins_a_process(build, worker):
    worker.of("doubts")
    change(build, op="end", member="A", end=1, by=1)
    worker.close()
    for late in (worker.warm, lambda: worker.of("doubts")):
        with pytest.raises(ReconError, match="closed"):
            late()
    assert worker._process is None


def test_a_version_that_cannot_be_computed_is_said_and_the_next_one_can(build, worker):
    with pytest.raises(RuntimeError, match="KeyError"):
        worker.of("nothing known")
    assert json.loads(worker.of("doubts"))["n"] == build.n


def test_a_newer_version_ends_the_long_computation_of_an_older_one(build):
    build.change(lambda _: (State(replace(scaffold(300).frame, joints=())), "large"))
    worker, ended = DerivedWorker(build, STOCKS, give_up=True), []
    begun = threading.Event()
    send = worker._send
    worker._send = lambda process, data: (send(process, data), begun.set() if "what" in data else None)

    def older():
        with pytest.raises(ReconError, match="changed"):
            worker.of("checks")
        ended.append("older")

    thread = threading.Thread(target=older, daemon=True)
    thread.start()
    try:
        assert begun.wait(patience())
        build.change(lambda _: (State(true_frame()), "small"))
        assert json.loads(worker.of("checks"))["n"] == build.n
        thread.join(patience())
        assert ended == ["older"]
    finally:
        worker.close()
