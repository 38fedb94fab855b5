"""Worker processes of the page, forked from one that has imported already what they need.

To import takes each of them 0.6 s of the processor (derived values) or 1.3 s (rows drawn by hand), as much
as the page itself takes in the browser.  Pages of `serve` (conftest.py) get theirs from here; how they are
started in earnest is tested without a browser (test_derived_worker.py) and wherever a page runs in a process
of its own (`served` in browsing.py).
"""

import contextlib
import importlib
import json
import os
import runpy
import select
import signal
import socket
import subprocess
import sys
import threading
from types import SimpleNamespace

from tests.corrections.frames import ROOT
from webui.processes import by_hand, derived

# Program -> what it imports once it runs.
LOADED = {
    derived.__name__: (
        "recon.corrections.plan_audit",
        "recon.corrections.review",
        "recon.workshop.rigidity.frame_check",
        "webui.derived.parts_and_checks",
        "webui.derived.steps",
    ),
    by_hand.__name__: (
        "recon.image.photos",
        "recon.solve.by_hand.on_frame",
        "recon.solve.by_hand.strip",
        "recon.solve.by_hand.stroke_members",
        "recon.solve.priors.constraints",
    ),
}
# Linux has what is used here; a process that is measured is started in earnest.
CAN_FORK = hasattr(signal, "pidfd_send_signal") and "tests.covered" not in sys.modules


class Forked:
    """A process that was forked, as much of `subprocess.Popen` as the page uses."""

    def __init__(self, pid, stdin, stdout):
        self.pid, self.stdin, self.stdout = pid, stdin, stdout
        try:
            self._file = os.pidfd_open(pid)
        except ProcessLookupError:  # it ended at once
            self._file = None

    def poll(self):
        return 0 if self._ended(0) else None

    def wait(self):
        self._ended(None)
        if self._file is not None:
            os.close(self._file)
        self._file = None

    def kill(self):
        if self._file is not None:
            with contextlib.suppress(ProcessLookupError):
                signal.pidfd_send_signal(self._file, signal.SIGKILL)

    def _ended(self, timeout_s):
        return self._file is None or bool(select.select([self._file], [], [], timeout_s)[0])


class ForkServer:
    """A process that has imported what a program needs, and forks it when asked."""

    def __init__(self, program):
        self._turn = threading.Lock()
        self._ask, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            command = [sys.executable, "-m", __name__, program, str(theirs.fileno())]
            self._process = subprocess.Popen(
                command, cwd=ROOT, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL
            )

    def begin(self, arguments):
        """The program, begun with these arguments."""
        (in_end, stdin), (stdout, out_end) = os.pipe(), os.pipe()
        try:
            request = json.dumps({"arguments": arguments, "environment": dict(os.environ)}).encode()
            with self._turn:
                socket.send_fds(self._ask, [request], [in_end, out_end])
                pid = int(self._ask.recv(20))
        finally:
            os.close(in_end)
            os.close(out_end)
        return Forked(pid, os.fdopen(stdin, "wb"), os.fdopen(stdout, "rb"))

    def close(self):
        self._ask.close()
        self._process.wait()


class ForkServers:
    """A server for each program, begun when it is needed first."""

    def __init__(self):
        self._servers, self._turn = {}, threading.Lock()

    def popen(self, command, **options):
        """As `subprocess.Popen` for a program that is in LOADED."""
        interpreter, option, program, *arguments = command
        assert (interpreter, option) == (sys.executable, "-m") and options["cwd"] == ROOT
        with self._turn:
            if program not in self._servers:
                self._servers[program] = ForkServer(program)
        return self._servers[program].begin(arguments)

    def close(self):
        for server in self._servers.values():
            server.close()

    def take_the_place_of(self, monkeypatch):
        """Gives the modules that begin these programs this in place of `subprocess`."""
        place = SimpleNamespace(Popen=self.popen, PIPE=subprocess.PIPE, DEVNULL=subprocess.DEVNULL)
        for module in (derived, by_hand):
            monkeypatch.setattr(module, "subprocess", place)


def main(program, file):
    """Forks `program` for each request on a socket, until that is closed."""
    for name in LOADED[program]:
        importlib.import_module(name)
    signal.signal(signal.SIGCHLD, _reap)
    ask = socket.socket(fileno=file)
    while True:
        data, files, *_ = socket.recv_fds(ask, 2**20, 2)
        if not data:
            return
        pid = os.fork()
        if pid == 0:
            ask.close()
            _become(program, json.loads(data), files)
        for each in files:
            os.close(each)
        ask.send(str(pid).encode())


def _reap(*_):
    """Takes note of what has ended; its time is then counted as its server's."""
    with contextlib.suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass


def _become(program, request, files):
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.environ.clear()
    os.environ.update(request["environment"])
    for k, each in enumerate(files):
        os.dup2(each, k)
        os.close(each)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    sys.argv[1:] = request["arguments"]
    try:
        runpy.run_module(program, run_name="__main__", alter_sys=True)
    finally:
        os._exit(0)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
