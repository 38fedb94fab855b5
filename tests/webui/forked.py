"""Worker processes of the page, forked from one that has imported already what they need.

To import takes each of them 0.3 (photos), 0.6 (derived values) or 1.2 s of the processor (rows drawn by hand,
a reading), as much as the page itself takes in the browser.  Pages of `serve` and `asked` (conftest.py) get
theirs from here; how they are started in earnest is tested where there is no such page
(test_derived_worker.py, test_photos.py) and wherever a page runs in a process of its own (`served` in
browsing.py).
"""

import contextlib
import importlib
import io
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
from webui.processes import by_hand, derived, reading
from webui.storage import photo_store

# Program -> what it imports once it runs.
LOADED = {
    "webui.processes.decode": ("PIL.Image", "PIL.ImageOps", "PIL.JpegImagePlugin", "recon.errors"),
    "webui.processes.derived": (
        "recon.corrections.plan_audit",
        "recon.corrections.review",
        "recon.workshop.rigidity.frame_check",
        "webui.derived.parts_and_checks",
        "webui.derived.steps",
    ),
    "webui.processes.by_hand": (
        "recon.image.photos",
        "recon.solve.by_hand.on_frame",
        "recon.solve.by_hand.strip",
        "recon.solve.by_hand.stroke_members",
        "recon.solve.priors.constraints",
    ),
    "webui.processes.reading_worker": (
        "recon.corrections.solver",
        "recon.image.duplicates",
        "recon.solve.each_photo",
        "webui.storage.reading_cache",
    ),
}
BEGUN_BY = (by_hand, derived, photo_store, reading)
# Linux has what is used here; a process that is measured is started in earnest.
CAN_FORK = hasattr(signal, "pidfd_send_signal") and "tests.covered" not in sys.modules


class Forked:
    """A process that was forked, as much of `subprocess.Popen` as the page uses."""

    def __init__(self, server, pid, stdin, stdout):
        self.pid, self.stdin, self.stdout, self.returncode = pid, stdin, stdout, None
        self._server, self._turn = server, threading.Lock()
        self._file = os.pidfd_open(pid)  # also of one that has ended and was not waited for

    def poll(self):
        return self._waited(0)

    def wait(self):
        return self._waited(None)

    def kill(self):
        with self._turn, contextlib.suppress(ProcessLookupError):
            if self.returncode is None:
                signal.pidfd_send_signal(self._file, signal.SIGKILL)

    def _waited(self, timeout_s):
        if self.returncode is None and select.select([self._file], [], [], timeout_s)[0]:
            with self._turn:
                if self.returncode is None:
                    self.returncode = os.waitstatus_to_exitcode(self._server.ask({"ended": self.pid}))
                    os.close(self._file)
        return self.returncode


class ForkServer:
    """A process that has imported what a program needs, and forks it when asked."""

    def __init__(self, program):
        self._turn = threading.Lock()
        self._socket, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-m", __name__, program, str(theirs.fileno())],
                cwd=ROOT,
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
            )

    def ask(self, request, files=()):
        with self._turn:
            socket.send_fds(self._socket, [json.dumps(request).encode()], files)
            return int(self._socket.recv(20))

    def begin(self, arguments, stdin, text):
        """The program, begun with these arguments."""
        in_end, ours = os.pipe() if stdin == subprocess.PIPE else (os.open(os.devnull, os.O_RDONLY), None)
        theirs, out_end = os.pipe()
        try:
            request = {"arguments": arguments, "environment": dict(os.environ)}
            pid = self.ask(request, [in_end, out_end])
        finally:
            os.close(in_end)
            os.close(out_end)
        pipes = [None if ours is None else os.fdopen(ours, "wb"), os.fdopen(theirs, "rb")]
        return Forked(self, pid, *(io.TextIOWrapper(p) if p and text else p for p in pipes))

    def close(self):
        self._socket.close()
        self._process.wait()


class ForkServers:
    """A server for each program, begun when it is needed first."""

    def __init__(self):
        self._servers, self._turn = {}, threading.Lock()

    def popen(self, command, *, stdin, cwd, text=False, **_):
        """As `subprocess.Popen` for a program that is in LOADED."""
        interpreter, option, program, *arguments = command
        assert (interpreter, option, cwd) == (sys.executable, "-m", ROOT)
        with self._turn:
            if program not in self._servers:
                self._servers[program] = ForkServer(program)
        return self._servers[program].begin(arguments, stdin, text)

    def close(self):
        for server in self._servers.values():
            server.close()

    def take_the_place_of(self, monkeypatch):
        """Gives the modules that begin these programs this in place of `subprocess`."""
        place = SimpleNamespace(Popen=self.popen, PIPE=subprocess.PIPE, DEVNULL=subprocess.DEVNULL)
        for module in BEGUN_BY:
            monkeypatch.setattr(module, "subprocess", place)


def main(program, file):
    """Forks `program` for each request on a socket, and says how it ended, until that is closed."""
    for name in LOADED[program]:
        importlib.import_module(name)
    asked = socket.socket(fileno=file)
    while True:
        data, files, *_ = socket.recv_fds(asked, 2**20, 2)
        if not data:
            return
        request = json.loads(data)
        if "ended" in request:
            answer = os.waitpid(request["ended"], 0)[1]
        else:
            answer = os.fork()
            if answer == 0:
                asked.close()
                _become(program, request, files)
        for each in files:
            os.close(each)
        asked.send(str(answer).encode())


def _become(program, request, files):
    os.environ.clear()
    os.environ.update(request["environment"])
    sys.path[1:1] = [p for p in os.environ.get("PYTHONPATH", "").split(os.pathsep) if p and p not in sys.path]
    for k, each in enumerate(files):
        os.dup2(each, k)
        os.close(each)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    sys.argv[1:] = request["arguments"]
    code = 1
    try:
        runpy.run_module(program, run_name="__main__", alter_sys=True)
        code = 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    finally:
        sys.stdout.flush()
        os._exit(code)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
