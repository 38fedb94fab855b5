"""Functions called side by side: in this process and in worker processes that share nothing with it.

A worker gets a function, by its name, and its arguments through a pipe, and answers through another: arrays
and plain values, pickled.  The work of a process that cannot be begun, or ends, is done in this one: whoever
calls gets the same values, only later.  A worker ends with the process that began it, however that ends.
Where nothing else runs in that process a worker is a copy of it, which has loaded all that it needs.

`concurrent.futures` is not used: its processes are begun from the caller's main module, which a script or a
test may not bear, they outlive a caller that is killed, and Ctrl-C waits for what they are at.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import traceback
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import IO, Any, NoReturn, TypeVar

T = TypeVar("T")
A = TypeVar("A")

THREADS = 2  # of this process that work at a time where it has no workers: filters leave Python's lock
# One thread for each library in a worker: those of several processes would wait for one another.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENCV_FOR_THREADS_NUM": "1"}
TRIES = 5  # of pickling while other threads import; one more was enough each time
WAITING_THREADS = ("signals",)  # of recon.cli.stopping: waits for a socket and holds nothing
ANSWER, HEARD, FAULT = "answer", "heard", "fault"


class Workers:
    """Places at which functions are called side by side: this process, and worker processes.

    Parameters
    ----------
    processes : int
        Begun beside this one; with 0 all is done here.
    ready : Sequence[str]
        Names of modules that a worker loads before it is asked anything.

    Examples
    --------
    >>> with Workers(0) as workers:
    ...     workers.map(abs, [-1, 2])
    [1, 2]
    """

    def __init__(self, processes: int = 0, ready: Sequence[str] = ()) -> None:
        self._closed = False
        self._processes: list[_Worker] = []
        with contextlib.suppress(OSError):  # no more processes are to be had: fewer do
            for _ in range(processes):
                self._processes.append(_Worker(ready))
        self.places = len(self._processes) + 1 if self._processes else THREADS
        self._filters = _one_thread_of_filters() if self._processes else None
        self._free: queue.Queue[_Worker | None] = queue.Queue()  # None: this process
        for place in [*[None] * (self.places - len(self._processes)), *self._processes]:
            self._free.put(place)

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    def call(
        self, function: Callable[..., T], *args: object, hear: Callable[[Any], object] | None = None
    ) -> T:
        """What a function gives, called at the place that is free first; waits for one.

        Parameters
        ----------
        function : callable
            At the top level of a module.
        args : object
            Its arguments; all can be pickled.
        hear : callable, optional
            Called here with whatever the function says meanwhile: the function gets a callable for that as
            its last argument.
        """
        place = self._free.get()
        if place is not None:
            try:
                return self._asked(place, function, args, hear)
            except _LostError:
                if self._closed:
                    raise KeyboardInterrupt from None
        try:
            return function(*args) if hear is None else function(*args, hear)
        finally:
            if place is None:
                self._free.put(place)

    def _asked(
        self,
        worker: _Worker,
        function: Callable[..., T],
        args: tuple[object, ...],
        hear: Callable[[Any], object] | None,
    ) -> T:
        """What a worker gives; it is free again after that, unless it is in the middle of something."""
        try:
            kind, value = worker.ask(function, args, hear)
        except BaseException:
            worker.end()
            raise
        self._free.put(worker)
        if kind == FAULT:
            raise value
        answer: T = value
        return answer

    def map(self, function: Callable[[A], T], items: Iterable[A]) -> list[T]:
        """What a function gives for each of some items, in their order; one after another without workers.

        function : at the top level of a module, or a `functools.partial` of such a one
        """
        waiting = list(items)
        helpers = min(len(self._processes), len(waiting) - 1)
        if helpers < 1:
            return [function(item) for item in waiting]
        numbers, out, faults = count(), dict[int, T](), list[BaseException]()

        def work() -> None:
            try:
                while not faults and (k := next(numbers)) < len(waiting):
                    out[k] = self.call(function, waiting[k])
            except BaseException as error:
                faults.append(error)

        threads = [threading.Thread(target=work, name="workers", daemon=True) for _ in range(helpers)]
        for thread in threads:
            thread.start()
        work()
        if faults and isinstance(faults[0], KeyboardInterrupt):
            raise faults[0]  # whoever stops the work does not wait for what is under way
        for thread in threads:
            thread.join()
        if faults:
            raise faults[0]
        return [out[k] for k in range(len(waiting))]

    @property
    def pids(self) -> list[int]:
        """Numbers of the worker processes."""
        return [worker.pid for worker in self._processes]

    def close(self) -> None:
        """End the processes; what they are at is lost."""
        self._closed = True
        if self._filters:
            _one_thread_of_filters(self._filters)
            self._filters = None
        for worker in self._processes:
            worker.end()


ALONE = Workers(0)


def processors() -> int:
    """Processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _one_thread_of_filters(threads: int = int(ONE_THREAD["OPENCV_FOR_THREADS_NUM"])) -> int | None:
    """Sets how many threads OpenCV's filters work in, where it is loaded; how many they had before."""
    if "cv2" not in sys.modules:
        return None
    before: int = sys.modules["cv2"].getNumThreads()
    sys.modules["cv2"].setNumThreads(threads)
    return before


def _pickled(value: object) -> bytes:
    """A value as bytes.

    Pickle looks through all modules for where a function is from, and fails where another thread imports one
    meanwhile; tried again, it finds them.
    """
    for _ in range(TRIES - 1):
        try:
            return pickle.dumps(value, pickle.HIGHEST_PROTOCOL)
        except RuntimeError as error:
            if "changed size during iteration" not in str(error):
                raise
    return pickle.dumps(value, pickle.HIGHEST_PROTOCOL)


class _LostError(Exception):
    """A worker is not there any more."""


class _Worker:
    """A worker process, as the one that began it sees it."""

    def __init__(self, ready: Sequence[str]) -> None:
        begun = _forked() if _can_fork(ready) else _loaded(ready)
        self._process, self._asks, self._answers = begun

    @property
    def pid(self) -> int:
        """Its number."""
        return self._process.pid

    def ask(
        self,
        function: Callable[..., object],
        args: tuple[object, ...],
        hear: Callable[[Any], object] | None,
    ) -> tuple[str, Any]:
        """ANSWER or FAULT, and what the function gave or raised."""
        question = _pickled((function, args, hear is not None))
        try:
            self._asks.write(question)
            self._asks.flush()
        except (OSError, ValueError):  # ValueError: it was ended
            raise _LostError from None
        while True:
            kind, value = self._next()
            if kind != HEARD:
                return kind, value
            if hear is not None:
                hear(value)

    def _next(self) -> tuple[str, Any]:
        try:
            line: tuple[str, Any] = pickle.load(self._answers)
        except (OSError, ValueError, EOFError, pickle.UnpicklingError):
            raise _LostError from None
        return line

    def end(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._asks, self._answers):
            with contextlib.suppress(OSError, ValueError):
                pipe.close()


class _Forked:
    """A process made by `os.fork`, with what is needed of `subprocess.Popen`."""

    def __init__(self, pid: int) -> None:
        self.pid, self._ended = pid, False

    def kill(self) -> None:
        """End it, if it has not ended."""
        if not self._ended:
            os.kill(self.pid, signal.SIGKILL)

    def wait(self) -> None:
        """Wait until it has ended."""
        if not self._ended:
            with contextlib.suppress(ChildProcessError):
                os.waitpid(self.pid, 0)
            self._ended = True


_Begun = tuple["subprocess.Popen[bytes] | _Forked", IO[bytes], IO[bytes]]


def _loaded(ready: Sequence[str]) -> _Begun:
    """A process of its own, which loads what it needs."""
    root = str(Path(__file__).parents[1])
    path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    process = subprocess.Popen(
        # -P: nothing is loaded from the folder that happens to be the current one.
        [sys.executable, "-P", "-c", "from recon.workers import serve; serve()", *ready],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=ONE_THREAD | os.environ | {"PYTHONPATH": path},
    )
    assert process.stdin is not None and process.stdout is not None
    return process, process.stdin, process.stdout


def _can_fork(ready: Sequence[str]) -> bool:
    """Can a copy of this process go on from here?  It has all that is loaded already, which takes a second.

    Only where nothing else runs in it: a lock that another thread holds would never be let go in the copy,
    and libraries lose the threads that they began (POSIX.1-2017, fork).  On other systems than Linux
    libraries that were loaded may not be used in a copy.
    """
    if sys.platform != "linux" or not all(name in sys.modules for name in ready):
        return False
    threads = threading.enumerate()
    if not all(t is threading.main_thread() or t.name in WAITING_THREADS for t in threads):
        return False
    with contextlib.suppress(OSError):
        return len(os.listdir("/proc/self/task")) == len(threads)
    return False


def _forked() -> _Begun:
    """A copy of this process, which answers it."""
    (asks, asking), (answering, answers) = os.pipe(), os.pipe()
    # A signal that comes before the copy has let go of what this process does on one would do that there.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
    try:
        pid = os.fork()
        if pid == 0:
            _be_worker(asks, answers, before)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    os.close(asks)
    os.close(answers)
    return _Forked(pid), os.fdopen(asking, "wb"), os.fdopen(answering, "rb")


def _be_worker(asks: int, answers: int, mask: Iterable[int]) -> NoReturn:
    """What a copy of the process does: lets go of all that is the other one's, and answers."""
    try:
        signal.set_wakeup_fd(-1)
        for number in (signal.SIGTERM, signal.SIGHUP):
            if signal.getsignal(number) != signal.SIG_IGN:
                signal.signal(number, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        nothing = os.open(os.devnull, os.O_RDWR)
        for standard in range(3):
            os.dup2(nothing, standard)
        # Pipes to other workers and locked files among them: they are to end when the other process does.
        for name in os.listdir("/proc/self/fd"):
            if int(name) > 2 and int(name) not in (asks, answers):
                with contextlib.suppress(OSError):
                    os.close(int(name))
        _one_thread_of_filters()
        _answer(os.fdopen(asks, "rb"), os.fdopen(answers, "wb"))
    finally:
        os._exit(1)


def serve() -> None:
    """Answer the process that began this one, until that ends; arguments are modules to load first."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the other one, which then ends this
    asks, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    _answer(asks, answers, sys.argv[1:])


def _answer(asks: IO[bytes], answers: IO[bytes], modules: Sequence[str] = ()) -> NoReturn:
    """Answers one ask after another until there can be no more; loads modules first."""
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def listen() -> None:
        with contextlib.suppress(Exception):
            while True:
                waiting.put(pickle.load(asks))
        os._exit(0)  # in the middle of its work: nobody waits for that any more

    def say(kind: str, value: object) -> None:
        pickle.dump((kind, value), answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()

    threading.Thread(target=listen, daemon=True).start()
    for name in modules:
        import_module(name)
    while True:
        function, args, hears = waiting.get()
        try:
            value = function(*args, lambda said: say(HEARD, said)) if hears else function(*args)
        except Exception as error:
            error.add_note(traceback.format_exc())
            say(FAULT, error)
        else:
            say(ANSWER, value)
