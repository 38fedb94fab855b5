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
workers = Workers(2, {ready})
print(*workers.pids, flush=True)
workers.map(time.sleep, [600] * 3)
"""


@pytest.mark.parametrize("ready", [[], ["tests.waiting"]], ids=["a copy", "loaded anew"])
def test_workers_at_work_end_with_the_process_that_began_them(ready):
    process = subprocess.Popen(
        [sys.executable, "-c", BEGINS.format(ready=ready)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": ROOT},
    )
    pids = [int(word) for word in process.stdout.readline().split()]
    kept = [Path(f"/proc/{pid}/cmdline") for pid in pids] if sys.platform == "linux" else []
    until(
        lambda: all(command.read_bytes() for command in kept), "what the workers are"
    )  # empty while loading
    assert [b"serve()" in command.read_bytes() for command in kept] == [bool(ready)] * len(kept)
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=patience())
    until(lambda: not any(map(_alive, pids)), "the end of the workers")


@pytest.mark.skipif(sys.platform != "linux", reason="workers are copies on Linux alone")
def test_a_copy_lets_go_of_files_signals_and_output_of_the_process_that_began_it(tmp_path):
    code = """
import os, signal, socket, sys
from functools import partial
from recon.workers import Workers
ours, theirs = socket.socketpair()
theirs.setblocking(False)
signal.set_wakeup_fd(theirs.fileno())
signal.signal(signal.SIGTERM, lambda *_: print("heard"))
kept = open(sys.argv[1], "w")
with Workers(1) as workers:
    def in_worker(function, *args):
        worker = workers._processes[0]
        return worker.ask(function, args, None)[1]
    ours.setblocking(False)
    print(in_worker(os.path.exists, f"/proc/self/fd/{kept.fileno()}"), in_worker(os.system, "echo seen"))
    print(in_worker(signal.getsignal, signal.SIGTERM) == signal.SIG_DFL, in_worker(signal.set_wakeup_fd, -1))
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "held")],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": ROOT},
    )
    assert done.stdout.split() == ["False", "0", "True", "-1"], done.stderr


def _alive(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"
