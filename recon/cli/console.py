"""What goes to the terminal while a command works: sentences and progress, on stderr.

Stdout holds the result alone.
"""

import io
import shutil
import sys
import unicodedata
from typing import TextIO

_CLEAR_LINE = "\r\x1b[K"


def say(text: str) -> None:
    """Print a sentence on stderr, its control characters (in a file's name, say) replaced."""
    _clear_line()
    print(printable(text), file=sys.stderr, flush=True)


def printable(text: str, also: str = "\n\t") -> str:
    """The text as a terminal can be given it: what steers one, or is no character, becomes a question mark.

    Names in files, and names of files, may hold control characters (Unicode's categories C and, of Z, the
    separators of lines and paragraphs) that would move the cursor, set the window's title or turn the order
    of letters round.

    Parameters
    ----------
    text : str
    also : str
        Control characters that stay.

    Examples
    --------
    >>> printable("gate\x1b]0;owned\x07 38\u00a0mm")
    'gate?]0;owned? 38\xa0mm'
    """
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in also or unicodedata.category(c) == "Zs" else "?" for c in text
    )


class PrintableStream(io.TextIOBase):
    """A stream of text that hands on what is `printable`."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write the text; returns its length."""
        self._stream.write(printable(text))
        return len(text)

    def flush(self) -> None:
        """Hand on what was kept."""
        self._stream.flush()

    def isatty(self) -> bool:
        """Whether it is a terminal."""
        return self._stream.isatty()

    def fileno(self) -> int:
        """The stream's descriptor."""
        return self._stream.fileno()


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
        print(_CLEAR_LINE + printable(text, ""), end="", file=sys.stderr, flush=True)

    def done(self) -> None:
        """Clear the line."""
        _clear_line()
