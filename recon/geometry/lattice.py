"""The lattice that all openings lie on: its 24 rotations, and the places that members can take on it."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import FloatArray, IntArray

PLACE_DECIMALS = 6  # places within a pitch are rounded to this (0.04 micrometres at 38.1 mm)
LAPS = 4  # laps, one on another, that a member is reached through from the origin: this project's choice


def rotations() -> IntArray:
    """The 24 rotations of the lattice: (24, 3, 3) integers, the identity first.

    Examples
    --------
    >>> rotations().shape, rotations()[0].tolist()
    ((24, 3, 3), [[1, 0, 0], [0, 1, 0], [0, 0, 1]])
    """
    turns = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            turn = np.zeros((3, 3), int)
            turn[range(3), order] = signs
            if round(np.linalg.det(turn)) == 1:
                turns.append(turn)
    return np.array(turns)


def upright_rotations() -> IntArray:
    """The 4 rotations that keep z up: (4, 3, 3) integers, the identity first."""
    turns = rotations()
    upright: IntArray = turns[turns[:, 2, 2] == 1]
    return upright


def lattice_classes(widths: ArrayLike, laps: int = LAPS, decimals: int = PLACE_DECIMALS) -> FloatArray:
    """The places within a pitch that centre lines can take.

    Parameters
    ----------
    widths : array_like
        The members' widths, pitches.
    laps : int
        How many laps away from the origin are counted.
    decimals : int
        Places are rounded to this; those that are then the same are one.

    Returns
    -------
    (C,) array
        Residues modulo one pitch, rising from 0.

    Notes
    -----
    Each lap sets a centre line half the sum of the two widths off, so the places are {a + b w mod 1} with
    whole a and abs(b) <= laps; with several widths, sums of their half-sums.  Where pitch = width this
    is {0}.

    Examples
    --------
    >>> lattice_classes([1.5])
    array([0. , 0.5])
    """
    widths = np.unique(np.round(np.atleast_1d(np.asarray(widths, float)), PLACE_DECIMALS))
    steps = np.unique(np.add.outer(widths, widths).ravel() / 2)
    classes = np.zeros(1)
    for _ in range(laps):
        reached = np.concatenate([classes] + [classes + s for s in steps] + [classes - s for s in steps])
        classes = np.unique(np.round(reached % 1, PLACE_DECIMALS) % 1)
    return np.unique(np.round(classes, decimals) % 1)


def snap(values: ArrayLike, classes: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """The nearest places of the lattice, coordinate by coordinate.

    Parameters
    ----------
    values : array_like, (...,)
        Coordinates relative to the lattice's origin, pitches.
    classes : array_like, (C,)
        From `lattice_classes`.

    Returns
    -------
    places : (...,) array
        Pitches.
    rest : (...,) array
        What was left over: value - place, pitches.

    Examples
    --------
    >>> places, rest = snap([0.9, 1.6], lattice_classes([1.5]))
    >>> places.tolist(), rest.round(3).tolist()
    ([1.0, 1.5], [-0.1, 0.1])
    """
    values = np.asarray(values, float)
    classes = np.asarray(classes, float)
    places = np.round(values[..., None] - classes) + classes
    nearest = np.abs(places - values[..., None]).argmin(axis=-1)
    snapped = np.take_along_axis(places, nearest[..., None], axis=-1)[..., 0]
    return snapped, values - snapped


def places_between(low: float, high: float, origin: float, classes: ArrayLike) -> FloatArray:
    """All places of the lattice along one axis from `low` to `high`, class by class.

    Parameters
    ----------
    low, high, origin : float
        Pitches; `origin` is a place of class 0.
    classes : array_like, (C,)
        From `lattice_classes`.

    Returns
    -------
    (P,) array
        Pitches.

    Examples
    --------
    >>> places_between(0.0, 2.0, 0.25, [0.0, 0.5]).tolist()
    [0.25, 1.25, 0.75, 1.75]
    """
    runs = [
        np.arange(np.ceil(low - origin - c), np.floor(high - origin - c) + 1) + origin + c
        for c in np.asarray(classes, float)
    ]
    return np.concatenate(runs)
