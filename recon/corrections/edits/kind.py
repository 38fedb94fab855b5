"""What an edit kind is: a name, a check of the request, and a function from the state to the next."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from recon.corrections.codec import Json
from recon.corrections.model import Corrections
from recon.corrections.state import State
from recon.frame.model import Member
from recon.frame.stock import Stock

R = TypeVar("R")
Stocks = Mapping[str, Stock]


@dataclass(frozen=True)
class Change:
    """What an edit comes to.

    Attributes
    ----------
    state : State
        The next state; laps of the members `moved` still to be found.
    words : str
        What was done.
    renewed : frozenset of str
        Labels of the members of which this edit is the user's word.
    moved : frozenset of str
        Labels of the members whose laps are to be found anew.
    """

    state: State
    words: str
    renewed: frozenset[str] = frozenset()
    moved: frozenset[str] = frozenset()


@dataclass(frozen=True)
class EditKind(Generic[R]):
    """A kind of edit.

    Attributes
    ----------
    name : str
        As requests and journals have it.
    check : callable
        (state, request as JSON, stocks by id) -> the request, checked.  Raises ReconError in words.
    apply : callable
        (state, checked request) -> Change.  Raises ReconError where it cannot be done.
    concerns_all : bool
        Whether it changes all members without saying of any where it is: such an edit settles no
        disagreement.
    """

    name: str
    check: Callable[[State, Json, Stocks], R]
    apply: Callable[[State, R], Change]
    concerns_all: bool = False


def members_changed(
    state: State, members: tuple[Member, ...], corrections: Corrections, changed: set[str], words: str
) -> Change:
    """The change by which members lie elsewhere or have other holes, on the user's word."""
    frame = replace(state.frame, members=members)
    return Change(State(frame, corrections), words, frozenset(changed), frozenset(changed))
