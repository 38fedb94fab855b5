"""From which video a picture comes, and from when in it: written into the picture's own file."""

from __future__ import annotations

import re
from dataclasses import dataclass

MADE_BY = "recon: picture of a video"  # Exif tag Software of such pictures
_WORDS = re.compile(r"picture (\d{1,9}) of (.{1,300}), at (\d{1,7}\.\d{3}) s", re.ASCII)


@dataclass(frozen=True)
class Timecode:
    """A picture's place in its video.

    Attributes
    ----------
    video : str
        The video's file name, in ASCII: what Exif can hold.
    number : int
        Of the picture in the video, from 0.
    at_s : float
        Since the video's beginning, s.

    Examples
    --------
    >>> Timecode.from_text(Timecode("walk.mp4", 96, 3.2).text())
    Timecode(video='walk.mp4', number=96, at_s=3.2)
    """

    video: str
    number: int
    at_s: float

    def text(self) -> str:
        """As it is written into Exif's ImageDescription."""
        name = "".join(c if " " <= c <= "~" else "?" for c in self.video)[:300] or "?"
        return f"picture {self.number} of {name}, at {self.at_s:.3f} s"

    @classmethod
    def from_text(cls, text: object) -> Timecode | None:
        """The timecode that a text says; None where it says none."""
        found = _WORDS.fullmatch(text) if isinstance(text, str) else None
        return cls(found[2], int(found[1]), float(found[3])) if found else None
