"""Where photos show something else than a person says of a frame."""

from __future__ import annotations

from dataclasses import dataclass

from recon.frame.model import Member


@dataclass(frozen=True)
class Objection:
    """Where a solver that kept the user's word says that the photos show something else.

    Attributes
    ----------
    member : Member
        The one spoken of, as the user has it.
    shown : Member or None
        As the photos show it; None where they do not show it.
    deleted : bool
        Whether the user said that it is not there.
    """

    member: Member
    shown: Member | None
    deleted: bool = False
