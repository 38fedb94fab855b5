"""The sizes of paper, and the two ways to lay out views; light to import, so that help can name them."""

from __future__ import annotations

from dataclasses import dataclass

ANGLES = ("first", "third")  # first- and third-angle projection: ISO 5456-2


@dataclass(frozen=True)
class Paper:
    """A size of paper.

    Attributes
    ----------
    id : str
        Its name on the command line and in the names of files.
    name : str
        Its name for people.
    width_mm, height_mm : float
        Upright.
    css : str
        Its name in a style sheet's page rule.
    angle : str
        "first" or "third": how views are laid out where this paper is used.

    Examples
    --------
    >>> PAPERS["a4"].size_mm
    (210.0, 297.0)
    """

    id: str
    name: str
    width_mm: float
    height_mm: float
    css: str
    angle: str

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height, mm."""
        return self.width_mm, self.height_mm


PAPERS: dict[str, Paper] = {
    paper.id: paper
    for paper in (
        Paper("a4", "A4", 210.0, 297.0, "A4", "first"),  # ISO 216
        Paper("letter", "Letter", 215.9, 279.4, "letter", "third"),  # ANSI/ASME Y14.1 size A
    )
}
