"""Readings of the sample frames, each made once for all tests of a process.

What does not follow from what a test changes is not computed again: openings are looked for once in each
photo, a photo is read by itself once, and photos are put together once.
"""

import json
import pickle
from functools import cache
from pathlib import Path
from unittest import mock

from recon import solve
from recon.frame.stock import load_stocks
from recon.image.photos import load_photo
from recon.image.working_copy import working_copy
from recon.solve import reading as whole_reading
from recon.solve.multiview.assemble import assemble
from recon.solve.photo.bordered import read_within
from recon.solve.photo.read_photo import read_openings
from recon.workers import Workers

SAMPLES = Path(__file__).parents[2] / "sample_images"
STOCKS = load_stocks()
DETECTED: dict[str, dict] = {}  # frame -> photo -> its openings, as `solve.read` takes and gives them
_ASSEMBLED: dict = {}
_ALONE: dict = {}


class Remembering(Workers):
    """Reads no photo by itself that was read before from the same openings."""

    def call(self, function, *args, **options):
        if function is not read_within:
            return super().call(function, *args, **options)
        key = pickle.dumps(args)
        if key not in _ALONE:
            _ALONE[key] = super().call(function, *args, **options)
        return _ALONE[key]


def read(photos, detected, **options):
    """`recon.solve.read` of photos of sample frames, from openings that were found before."""
    return solve.read(photos, stocks=STOCKS, detected=detected, workers=Remembering(), **options)


def truth(name):
    """What a sample frame is."""
    return json.loads((SAMPLES / name / "truth.json").read_text())


@cache
def photo(name, number):
    """A photo of a sample frame."""
    return load_photo(SAMPLES / name / f"photo_{number}.jpg")


def detected(name):
    """photo -> the openings that were found in it, of a sample frame; filled by its readings."""
    return DETECTED.setdefault(name, {})


def openings(name, number):
    """The openings of one photo of a sample frame."""
    one = photo(name, number)
    if one.name not in detected(name):
        detected(name)[one.name] = read_openings(working_copy(one)[0])
    return detected(name)[one.name]


@cache
def reading(name, numbers=(1, 2, 3)):
    """The reading of a sample frame from these of its photos."""
    return _read(name, numbers)


def reading_with_plan(name, numbers, plan):
    """The same with a plan, which is looked at once the photos are together."""
    return _read(name, numbers, plan=plan)


def _read(name, numbers, **options):
    def once(readings, pictures, width, progress, workers):
        key = name, tuple(r.name for r in readings), width
        if key not in _ASSEMBLED:
            _ASSEMBLED[key] = assemble(readings, pictures, width, progress, workers)
        return _ASSEMBLED[key]

    with mock.patch.object(whole_reading, "assemble", once):
        photos = [photo(name, k) for k in numbers]
        return read(photos, detected(name), **options)
