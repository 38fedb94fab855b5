"""What goes to the terminal while a command works: sentences and progress, on stderr.

Stdout holds the result alone.
"""

import shutil
import sys

_CLEAR_LINE = "\r\x1b[K"


def say(text: str) -> None:
    """Print a sentence on stderr, its control characters (in a file's name, say) replaced."""
    _clear_line()
    print(_printable(text, "\n"), file=sys.stderr, flush=True)


def _printable(text: str, also: str = "") -> str:
    return "".join(c if c.isprintable() or c in also else "?" for c in text)


def _clear_line() -> None:
    if sys.stderr.isatty():
        print(_CLEAR_LINE, end="", file=sys.stderr)


class Progress:
    """One line on stderr that is written over as the work goes on; silent where stderr is no terminal.

    Parameters
    ----------
    start, end : float
        The share of the whole work, 0 to 1, that this part begins and ends at.

    """

    def __init__(self, start: float = 0.0, end: float = 1.0) -> None:
        self.start, self.end = start, end

    def __call__(self, stage: str, fraction: float) -> None:
        """Show the stage and how much of this part is done, 0 to 1."""
        if not sys.stderr.isatty():
            return
        share = self.start + (self.end - self.start) * min(max(fraction, 0.0), 1.0)
        text = f"{share:4.0%}  {stage}"[: shutil.get_terminal_size().columns - 1]
        print(_CLEAR_LINE + _printable(text), end="", file=sys.stderr, flush=True)

    def done(self) -> None:
        """Clear the line."""
        _clear_line()
