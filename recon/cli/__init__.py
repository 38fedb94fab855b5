"""The command line: `recon COMMAND ...`.

Each command is a module with `add_parser(subparsers)` and `run(args)`; it imports what it needs when it runs,
so that help comes at once.

    read      a frame from photographs
    page      read, check and correct a frame on a page in the browser
    parts     the parts list
    cut       the cut list
    restock   other stock for some members, or for all
    stretch   a frame longer or shorter by whole holes
    check     what is wrong with a frame, and how it could rack
    steps     in which order to put it together
    audit     a built frame against its plan
    papers    papers to build a frame from
    export    files for other programs
    gallery   a folder of builds as a static site
    buildable  what can be built from what is there
    stocks    the stock list

    read_each   every build in a folder, several at a time
    read_videos  videos among the photos, whose chosen pictures are kept beside the frame
    read_rows   openings and rows with their hole counts, which `read` gives without a frame
    builds    what lies in a build's folder: notes and photos
    common    shared arguments, results as text or JSON, errors as JSON
    console   sentences and progress on stderr; nothing that steers a terminal gets to it
    stopping  Ctrl-C and the signals that end a process

Exit codes
    0    done, and everything given was used
    1    done, but not with everything given: what was left out is named
    2    nothing done: a sentence says what was wrong and what to do
    3    a fault in recon itself
    130  stopped by the user (Ctrl-C), or by the system (SIGTERM, SIGHUP)
Commands that answer a question say in their help what else they return.
"""

import argparse
import contextlib
import os
import sys
import threading
import traceback
from typing import NoReturn

from recon import __version__
from recon.cli import (
    audit,
    buildable,
    check,
    cut,
    export,
    gallery,
    page,
    papers,
    parts,
    read,
    restock,
    steps,
    stocks,
    stretch,
)
from recon.cli.console import PrintableStream, printable, say
from recon.cli.stopping import end_now, end_soon_after, hear_signals
from recon.errors import ReconError

COMMANDS = (
    read,
    page,
    parts,
    cut,
    restock,
    stretch,
    check,
    steps,
    audit,
    papers,
    export,
    gallery,
    buildable,
    stocks,
)

DONE, NOT_ALL_USED, NOTHING_DONE, FAULT, STOPPED = 0, 1, 2, 3, 130

_DESCRIPTION = """\
From a few photographs of a frame of drilled, bolted square members to its members, laps and lengths in holes.

Start with:  recon read photo_1.jpg photo_2.jpg photo_3.jpg -o my-frame
"""
_EXIT_CODES = """\
exit codes: 0 done; 1 done, but something given could not be used (it is named); 2 nothing done (a sentence
says why); 3 a fault in recon itself; 130 stopped with Ctrl-C
"""


_NO_MEMORY = (
    "There is not enough memory for this; give it less at once: fewer or smaller photos, or a smaller frame "
    "or list."
)
_STOPPED = "Stopped. Nothing more was written."
_SAID = threading.Event()  # whether that was said


class _Parser(argparse.ArgumentParser):
    """Errors name the arguments as they can be shown."""

    def error(self, message: str) -> NoReturn:
        super().error(printable(message))


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command."""
    parser = _Parser(
        prog="recon",
        description=_DESCRIPTION,
        epilog=_EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"recon {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in COMMANDS:
        command.add_parser(subparsers)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns its exit code and never raises.

    Parameters
    ----------
    argv : list of str, optional
        The arguments, without the program's name; those of the process by default.

    Returns
    -------
    int
        The exit code, as the package's docstring lists them.

    Examples
    --------
    >>> from recon.cli import main
    >>> main(["--version"]) == 0
    recon ...
    True

    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A name that the terminal cannot show must not stop the work.
            stream.reconfigure(errors="replace")
    try:
        with contextlib.redirect_stdout(PrintableStream(sys.stdout)):
            _refuse_zero_bytes(sys.argv[1:] if argv is None else argv)
            args = build_parser().parse_args(argv)
            code = args.run(args)
            sys.stdout.flush()
            return code
    except SystemExit as stop:  # argparse: after help, or after a sentence about the arguments
        return stop.code if isinstance(stop.code, int) else NOTHING_DONE
    except ReconError as error:
        say(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        _SAID.set()
        say(_STOPPED)
        return STOPPED
    except BrokenPipeError:  # whoever read our output, `head` say, has enough of it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except MemoryError:
        say(_NO_MEMORY)
        return NOTHING_DONE
    except Exception as error:
        return _fault(error)


def run_process() -> NoReturn:
    """The process `recon`: `main`, and the end of the process with its exit code."""

    def clean_up() -> None:
        from recon.files import remove_unfinished

        remove_unfinished()
        if not _SAID.is_set():
            say(_STOPPED)

    hear_signals()
    end_soon_after(clean_up, STOPPED)
    code = main()
    if code == STOPPED:
        end_now(code)  # threads in the midst of a photo would be waited for
    sys.exit(code)


def _refuse_zero_bytes(argv: list[str]) -> None:
    """No system takes them in a file's name; they can only come from another program."""
    if any("\0" in argument for argument in argv):
        raise ReconError("An argument holds a zero byte; leave it out.")


def _fault(error: Exception) -> int:
    """Say that an error is a fault; returns the exit code."""
    if os.environ.get("RECON_TRACEBACK"):
        traceback.print_exc()
    at = traceback.extract_tb(error.__traceback__)[-1]
    say(
        f"This is a fault in recon, not in what you did: {type(error).__name__}: {error} "
        f"({os.path.basename(at.filename)}, line {at.lineno}). "
        "Set RECON_TRACEBACK=1 to see more, and report it."
    )
    return FAULT
