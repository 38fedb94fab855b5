"""Work done in processes of their own: same values, in order, and nothing is lost where one ends."""

import os
import signal
import subprocess
import sys
import threading
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from recon.errors import ReconError
from recon.workers import Workers
from tests.waiting import patience, until

ROOT = str(Path(__file__).parents[1])


@pytest.fixture(scope="module")
def workers():
    with Workers(1, ["tests.test_workers"]) as some:
        yield some


def tripled(x):
    return os.getpid(), 3 * np.asarray(x)


def tells(x, hear):
    hear(("half of", x))
    return os.getpid()


def refuses(x):
    raise ReconError(f"{x} is no photo.", exit_code=7)


def ends_elsewhere(here, x):
    if os.getpid() != here:
        os._exit(3)
    return os.getpid(), x


def at_both(workers, function, *args, **kwargs):
    """What calls at the same time give, one in each process."""
    ready = threading.Barrier(2)
    out = []

    def call():
        ready.wait(patience())
        out.append(workers.call(function, *args, **kwargs))

    threads = [threading.Thread(target=call) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return out


def waits_for(path, x):
    """Two processes that meet: each makes a file and waits for that of the other."""
    (path / str(os.getpid())).touch()
    until(lambda: len(list(path.iterdir())) == 2, "the other process")
    return os.getpid(), x


def test_two_processes_work_at_once_and_values_come_in_order(workers, tmp_path):
    found = workers.map(partial(waits_for, tmp_path), [5, 6])
    assert [x for _, x in found] == [5, 6] and len({pid for pid, _ in found}) == 2
    arrays = [np.arange(k) for k in range(6)]
    assert all((3 * a == b).all() for a, (_, b) in zip(arrays, workers.map(tripled, arrays)))


def test_what_is_said_meanwhile_is_heard_from_either_process(workers):
    heard = []
    assert len(at_both(workers, tells, 4, hear=heard.append)) == 2
    assert heard == [("half of", 4)] * 2


def test_a_refusal_comes_back_as_it_is(workers):
    for call in (partial(workers.call, refuses, "a"), partial(workers.map, refuses, ["a", "a"])):
        with pytest.raises(ReconError, match=r"a is no photo\.") as error:
            call()
        assert error.value.exit_code == 7


def test_the_work_of_a_process_that_ends_is_done_here():
    here = os.getpid()
    work = partial(ends_elsewhere, here)
    with Workers(1, ["tests.test_workers"]) as some:
        for numbers in (range(4), range(2)):
            assert some.map(work, numbers) == [(here, k) for k in numbers]


BEGINS = """
import os, time
from recon.workers import Workers
workers = Workers(1)
print(workers._processes[0]._process.pid, flush=True)
workers.call(time.sleep, 600), workers.call(time.sleep, 600)
"""


def test_a_worker_at_work_ends_with_the_process_that_began_it():
    process = subprocess.Popen(
        [sys.executable, "-c", BEGINS],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": ROOT},
    )
    worker = int(process.stdout.readline())
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=patience())
    until(lambda: not _alive(worker), "the end of the worker")


def _alive(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"
