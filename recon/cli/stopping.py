"""A command that is stopped ends at once, and leaves nothing half done.

Python hears a signal only between two steps of its own: a photo that a library is decoding would hold up the
end for seconds.  So another thread hears it too, and ends the process where the work does not end by itself.
"""

import contextlib
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from typing import NoReturn

GRACE_S = 0.6  # for the work to end by itself; people take up to 1 s for at once (Nielsen, from memory)
# SIGHUP: the terminal was closed.  Windows has no such signal.
SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


def hear_signals() -> None:
    """Let SIGTERM and SIGHUP stop the work as Ctrl-C does.

    A signal that whoever started this process has it ignore (`nohup`) stays ignored.
    """

    def stop(*_: object) -> NoReturn:
        raise KeyboardInterrupt

    for number in SIGNALS:
        if signal.getsignal(number) not in (signal.SIG_IGN, signal.default_int_handler):
            signal.signal(number, stop)


def end_soon_after(clean_up: Callable[[], object], exit_code: int) -> None:
    """From the next signal on, the process has GRACE_S to end by itself; then it is ended.

    Parameters
    ----------
    clean_up : callable
        Called before it is ended.
    exit_code : int
        That it ends with.
    """
    ours, theirs = socket.socketpair()
    theirs.setblocking(False)
    signal.set_wakeup_fd(theirs.fileno(), warn_on_full_buffer=False)

    def watch() -> None:
        while not set(ours.recv(1)) & set(SIGNALS):
            pass
        time.sleep(GRACE_S)
        clean_up()
        end_now(exit_code)

    _kept.append(theirs)
    threading.Thread(target=watch, name="signals", daemon=True).start()


def let_it_end_by_itself() -> None:
    """Take `end_soon_after` back, for a command that ends well by itself."""
    signal.set_wakeup_fd(-1)


_kept: list[socket.socket] = []  # the system writes to it as long as the process lives


def end_now(exit_code: int) -> NoReturn:
    """End the process without waiting for threads that still work."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):  # nobody reads it any more
            stream.flush()
    os._exit(exit_code)
