"""What commands say while they work: sentences and progress, on stderr, so that stdout holds the result alone."""

import shutil
import sys


def say(text: str) -> None:
    """A sentence on stderr. Control characters, as in a file's name, do not reach the terminal."""
    _clear_line()
    print("".join(c if c.isprintable() or c == "\n" else "?" for c in text), file=sys.stderr, flush=True)


def _clear_line() -> None:
    if sys.stderr.isatty():
        print("\r\x1b[K", end="", file=sys.stderr)


class Progress:
    """One line on stderr that is written over as the work goes on; silent where stderr is no terminal.

    start, end: the share of the whole work that the calls tell of.
    """

    def __init__(self, start: float = 0.0, end: float = 1.0):
        self.start, self.end = start, end

    def __call__(self, stage: str, fraction: float) -> None:
        if not sys.stderr.isatty():
            return
        share = self.start + (self.end - self.start) * min(max(fraction, 0.0), 1.0)
        text = f"{share:4.0%}  {stage}"[: shutil.get_terminal_size().columns - 1]
        print(
            "\r\x1b[K" + "".join(c if c.isprintable() else "?" for c in text),
            end="",
            file=sys.stderr,
            flush=True,
        )

    def done(self) -> None:
        _clear_line()
