"""Functions called side by side: in this process and in worker processes that share nothing with it.

A worker gets a function, by its name, and its arguments through a pipe, and answers through another: arrays
and plain values, pickled.  The work of a process that cannot be begun, or ends, is done in this one: whoever
calls gets the same values, only later.  A worker ends with the process that began it, however that ends.

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
from typing import Any, TypeVar

T = TypeVar("T")
A = TypeVar("A")

THREADS = 2  # of this process that work at a time where it has no workers: filters leave Python's lock
# One thread for each library in a worker: those of several processes would wait for one another.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENCV_FOR_THREADS_NUM": "1"}
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
        for worker in self._processes:
            worker.end()


ALONE = Workers(0)


def processors() -> int:
    """Processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _LostError(Exception):
    """A worker is not there any more."""


class _Worker:
    """A worker process, as the one that began it sees it."""

    def __init__(self, ready: Sequence[str]) -> None:
        root = str(Path(__file__).parents[1])
        path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
        self._process = subprocess.Popen(
            # -P: nothing is loaded from the folder that happens to be the current one.
            [sys.executable, "-P", "-c", "from recon.workers import serve; serve()", *ready],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=ONE_THREAD | os.environ | {"PYTHONPATH": path},
        )

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
        assert self._process.stdin is not None
        try:
            pickle.dump((function, args, hear is not None), self._process.stdin, pickle.HIGHEST_PROTOCOL)
            self._process.stdin.flush()
        except (OSError, ValueError):  # ValueError: it was ended
            raise _LostError from None
        while True:
            kind, value = self._next()
            if kind != HEARD:
                return kind, value
            if hear is not None:
                hear(value)

    def _next(self) -> tuple[str, Any]:
        assert self._process.stdout is not None
        try:
            line: tuple[str, Any] = pickle.load(self._process.stdout)
        except (OSError, ValueError, EOFError, pickle.UnpicklingError):
            raise _LostError from None
        return line

    def end(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError, ValueError):
                if pipe is not None:
                    pipe.close()


def serve() -> None:
    """Answer the process that began this one, until that ends; arguments are modules to load first."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the other one, which then ends this
    asks, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
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
    for name in sys.argv[1:]:
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
