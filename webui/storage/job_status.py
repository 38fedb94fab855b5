"""How something stands that is done in the background, as the page is shown it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class JobStatus:
    """How something stands that is done in the background.

    Attributes
    ----------
    running : bool
    stage : str
        In words.
    share : float
        Of the work that is done, 0..1.
    problem : str or None
        Why it failed, in a sentence.
    """

    running: bool = False
    stage: str = ""
    share: float = 0.0
    problem: str | None = None

    def to_json(self) -> dict[str, Any]:
        """As the page has it.

        Examples
        --------
        >>> JobStatus(True, "waiting").to_json()
        {'running': True, 'stage': 'waiting', 'share': 0.0, 'problem': None}
        """
        return dict(vars(self))
