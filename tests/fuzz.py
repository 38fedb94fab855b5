"""Files that are damaged at random, for every parser of files that people or other programs give.

`python -m tests.fuzz SECONDS [PARSER]` tries them by turns for so long and prints how many were tried, and
each that ended in anything but a sentence.  Needs Hypothesis.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from PIL import Image

from recon.errors import ReconError
from recon.frame.files import frame_to_text, load_frame
from recon.frame.length import parse_known_length
from recon.frame.stock import load_stocks
from recon.image.photos import load_photo
from recon.image.rows_file import load_rows
from recon.image.video.chosen import choose_pictures
from recon.workshop.parts.prices import load_prices
from recon.workshop.parts.rack import load_rack
from tests.corrections.frames import gate
from tests.image.video.made import walk, write_video
from tests.workshop.carts import cart
from tests.workshop.trestles import trestle
from webui.storage.build import WORK, Build
from webui.storage.journal import NAME, line_of
from webui.storage.work import WorkLog

STOCKS = load_stocks()

FRAME = frame_to_text(trestle()).encode()
CART = frame_to_text(cart()).encode()  # with fittings
PRICES = (
    b"item,id,length,price,currency\nmetre,softwood-38,,4.20,EUR\nstick,softwood-38,8 ft,9.80,EUR\n"
    b"fitting,castor 80,,4.50,EUR\n"
)
RACK = (
    b"item;id;length;count;first_hole;drilled;trim\n"
    b"stick;softwood-38;8 ft;2;19,05 mm;yes;5\n"
    b"member;softwood-38;16;4\n"
)
RACK_TOML = b'[[entry]]\nitem = "bolt"\nid = "M8 x 90"\ncount = 20\n'
STOCK_LIST = (
    b'[[stock]]\nid = "own-25"\nname = "Own"\nmaterial = "softwood"\npitch_mm = 25\nwidth_mm = 25\n'
    b'hole_mm = 8\ndensity_kg_m3 = 510\nlengths_mm = [2000]\nsource = "me"\n'
)
ROW = {"openings": [0, 1], "steps": [0, 2], "log10_nfa": -4.0}
OPENINGS = [[10, 10, 9, 7, 0, 0.5, 5], [50, 10, 9, 7, 0, 0.5, 5]]
ROWS = json.dumps(
    {
        "format": "opening-rows",
        "version": 1,
        "photos": [{"file": "p.jpg", "size": [400, 300], "openings": OPENINGS, "rows": [ROW]}],
    }
).encode()


def _photo(kind: str) -> bytes:
    rng = np.random.default_rng(1)
    out = BytesIO()
    Image.fromarray(rng.integers(0, 255, (320, 400, 3), dtype=np.uint8)).save(out, kind)
    return out.getvalue()


def _video(codec: str, suffix: str) -> bytes:
    with tempfile.TemporaryDirectory() as place:
        return write_video(Path(place) / f"a{suffix}", walk(0, 12, 5), codec=codec).read_bytes()


def _pictures_of(path: Path) -> None:
    with tempfile.TemporaryDirectory() as place:
        choose_pictures(path, place)


def _journal() -> bytes:
    from recon.corrections.state import State, difference

    read = {"n": 1, "kind": "reading", "words": "Read", "delta": difference(State(), gate())}
    fitted = {"n": 2, "kind": "edit", "words": "Fitted", "delta": difference(gate(), State(cart()))}
    undone = {"n": 3, "kind": "undo", "words": "Undone"}
    return b"".join(map(line_of, ({"format": "frame-build", "version": 1}, read, fitted, undone)))


def _work_journal() -> bytes:
    from recon.corrections.state import State, difference

    key = {"kind": "join", "members": ["A", "C"], "time": 1}
    entries = (
        {"kind": "member", "id": "A", "holes": 12},
        {"kind": "bolt", "through": [["A", 2, 12], ["C", 1, 13]]},
        {"kind": "note", "id": 1, "step": key, "text": "Tight", "at": "2026-11-26"},
        {"kind": "photo", "file": "a.jpg", "step": key, "at": ""},
    )
    act = {"n": 1, "kind": "act", "words": "A in", "put": entries, "gone": []}
    undone = {"n": 2, "kind": "undo", "words": "", "put": [], "gone": ['member "A"']}
    version = {"n": 3, "kind": "version", "id": 1, "name": "v", "note": "", "at": "", "of": 1}
    version["delta"] = difference(State(), gate())
    return b"".join(map(line_of, ({"format": "frame-work", "version": 1}, act, undone, version)))


def _open_work(path: Path) -> None:
    work = WorkLog(path.parent)
    try:
        states = [version.state for version in work.versions]
        assert work.undo() if work.can_undo else states is not None
    finally:
        work.close()


def _open_build(path: Path) -> None:
    build = Build(path.parent)
    try:
        build.undo() if build.can()["undo"] else None
    finally:
        build.close()


@dataclass(frozen=True)
class Parser:
    """A parser of files.

    Attributes
    ----------
    file : str
        The name that its file has.
    read : callable
        Reads the file of a path.
    examples : tuple of bytes
        Files that are whole.
    tries : int
        Damaged files that the suite tries: a second or two.
    """

    file: str
    read: Callable[[Path], object]
    examples: tuple[bytes, ...]
    tries: int = 40


PARSERS = {
    "frame file": Parser("f.json", lambda p: load_frame(p, STOCKS), (FRAME, CART)),
    "rows file": Parser("rows.json", load_rows, (ROWS,)),
    "price list": Parser("p.csv", lambda p: load_prices(p, STOCKS), (PRICES,)),
    "rack": Parser("r.csv", lambda p: load_rack(p, STOCKS), (RACK,)),
    "rack in TOML": Parser("r.toml", lambda p: load_rack(p, STOCKS), (RACK_TOML,)),
    "stock list": Parser("s.toml", load_stocks, (STOCK_LIST,)),
    "photo": Parser("photo.jpg", load_photo, tuple(map(_photo, ("JPEG", "PNG", "WEBP", "TIFF")))),
    "video": Parser("walk.mp4", _pictures_of, (_video("mp4v", ".mp4"), _video("MJPG", ".avi")), 8),
    "journal": Parser(NAME, _open_build, (_journal(),)),
    "work journal": Parser(WORK, _open_work, (_work_journal(),)),
    "measured length": Parser(
        "length.txt",
        lambda p: parse_known_length(p.read_bytes().decode("utf-8", "replace")),
        (b"A = 610 mm", b"16 holes = 24 1/8 in", b"left.jpg 310,420 820,455 = 610 mm"),
    ),
}


@st.composite
def damaged(draw: st.DrawFn, name: str) -> bytes:
    """A whole file with a few pieces cut out, doubled, replaced or made up; now and then any bytes at all."""
    data = draw(st.sampled_from(PARSERS[name].examples))
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=300))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        until = min(len(data), at + draw(st.sampled_from((0, 1, 2, 5, 20, 200))))
        piece = draw(
            st.one_of(
                st.just(b""),
                st.just(data[at:until] * 3),
                st.binary(max_size=8),
                st.sampled_from(
                    (b"-1", b"1e999", b"NaN", b"null", b"[]", b"{}", b'"\\ud800"', b"\x00", b"\n", b",")
                ),
            )
        )
        data = data[:at] + piece + data[until:]
    return data


def parses(name: str, data: bytes, folder: Path) -> str | None:
    """None where the parser takes the file, its sentence where it does not; raises what else it raises."""
    parser = PARSERS[name]
    path = folder / parser.file
    path.write_bytes(data)
    try:
        parser.read(path)
    except ReconError as error:
        assert str(error).strip(), "an empty sentence"
        return str(error)
    return None


def _trial(name: str, number: int, folder: Path, tried: dict[str, int]) -> Callable[[], None]:
    """A few files of one parser, the same for the same number; `tried` counts them."""

    @seed(number)
    @settings(
        max_examples=50,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def trial(data: st.DataObject) -> None:
        tried[name] += 1
        parses(name, data.draw(damaged(name)), folder)

    return trial


def main(argv: list[str]) -> int:
    """Tries damaged files for a number of seconds; returns the number of faults."""
    until = time.monotonic() + float(argv[0] if argv else 60)
    names = [name for name in PARSERS if not argv[1:] or argv[1] in name]
    tried, faults, number = dict.fromkeys(names, 0), 0, 0
    with tempfile.TemporaryDirectory() as place:
        while time.monotonic() < until:
            for name in names:
                number += 1

                trial = _trial(name, number, Path(place), tried)
                try:
                    trial()
                except Exception as error:
                    faults += 1
                    print(f"{name}, seed {number}: {type(error).__name__}: {error}")
    print("\n".join(f"{name:16} {count:7} files" for name, count in tried.items()))
    print(f"{faults} faults")
    return faults


if __name__ == "__main__":
    sys.exit(min(main(sys.argv[1:]), 1))
