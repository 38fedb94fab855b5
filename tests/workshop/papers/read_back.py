"""Hole numbers in the papers and in the DXF file, read back and held against the frame.

`python -m tests.workshop.papers.read_back [FRAMES] [FIRST_SEED]`, 200 random frames from seed 0 by default.

It knows nothing of how papers are made: pypdf gives the text of the pages, ezdxf the blocks of the drawing,
and of the frame it uses nothing but where members lie.  Two holes are on one another where their centres are
half the two widths apart, straight across both members.
"""

import io
import re
import sys
from collections import Counter
from itertools import pairwise

import ezdxf
import numpy as np
from pypdf import PdfReader

from recon.bench.random_frames import random_frame
from recon.frame.model import Frame
from recon.workshop.export.dxf import frame_dxf
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.pdf import papers_pdf

ON = re.compile(r"hole (\d+) of (\w+)((?: on hole \d+ of \w+)+)")
EXAMPLE = "Tag C3 F1: hole 3 of C on hole 1 of F"  # in the notes at the foot of drawings
TAG = re.compile(r"(?:[A-Z]+\d+ )+[A-Z]+\d+")
# Which axes of space a view shows to the right and up, by the axis that points to the viewer, which is in its
# title: as a person standing there sees it, z up; from above and below, the front at the foot or at the top.
SEEN = {"-y": "+x+z", "+y": "-x+z", "+x": "+y+z", "-x": "-y+z"}


def faults(frame: Frame) -> list[str]:
    """What the papers and the DXF file say of holes that is not so."""
    papers = papers_pdf(compose_papers(frame, {}).document)
    return [*pdf_faults(frame, papers), *dxf_faults(frame, frame_dxf(frame, {}))]


def pdf_faults(frame: Frame, papers: bytes) -> list[str]:
    """What the text of the papers says of holes that is not so."""
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(papers)).pages]
    text = re.sub(r"\s+", " ", " ".join(pages)).replace(EXAMPLE, "")
    parts = {
        "joint table": _between(text, "Joint table Each row is one bolt", "Build steps Shaded"),
        "steps": _between(text, "Build steps Shaded", "Members one by one Each"),
    }
    wrong, wanted = [], _bolts(frame)
    for name, part in parts.items():
        part = re.sub(r"Without a bolt.*?\.(?= |$)", "", part)
        said = [
            _chain(found) for found in ON.finditer(part) if not part[found.end() :].startswith(" no bolt")
        ]
        wrong += [
            f"{name}: {_words(chain)} are not on one another" for chain in said if not _on(frame, chain)
        ]
        missing, extra = wanted - Counter(map(frozenset, said)), Counter(map(frozenset, said)) - wanted
        wrong += [f"{name}: no {_words(sorted(chain))}" for chain in missing]
        wrong += [f"{name}: {_words(sorted(chain))} too often" for chain in extra]
    return wrong


def _between(text: str, start: str, end: str) -> str:
    return text[text.index(start) : text.index(end)]


def _chain(found: re.Match) -> tuple[tuple[str, int], ...]:
    pairs = re.findall(r"hole (\d+) of (\w+)", found[0])
    return tuple((id, int(hole)) for hole, id in pairs)


def _words(chain) -> str:
    return " ".join(f"{id}{hole}" for id, hole in chain)


def _centre(frame: Frame, id: str, hole: int) -> np.ndarray:
    m = frame.member(id)
    assert 1 <= hole <= m.holes, f"{id} has no hole {hole}"
    return np.array(m.first, float) + (hole - 1) * np.array(m.direction, float)


def _on(frame: Frame, chain) -> bool:
    """Whether holes lie one on the other, in the order in which they are named."""
    for (a, i), (b, j) in pairwise(chain):
        apart = _centre(frame, b, j) - _centre(frame, a, i)
        one, other = frame.member(a), frame.member(b)
        far = (one.width + other.width) / 2
        across = max(abs(apart @ np.array(m.direction)) for m in (one, other))
        if abs(np.linalg.norm(apart) - far) > 0.05 or across > 0.05:
            return False
    return True


def _bolts(frame: Frame) -> Counter:
    """Holes that a bolt goes through, bolt by bolt: laps that share a hole on one axis share the bolt."""
    groups: list[tuple[set, np.ndarray]] = []
    for joint in frame.joints:
        if joint.bolt == "none":
            continue
        holes, axis = {(joint.a, joint.a_hole + 1), (joint.b, joint.b_hole + 1)}, np.array(joint.axis)
        same = [g for g in groups if g[0] & holes and abs(g[1] @ axis) > 0.9]
        groups = [g for g in groups if not any(g is s for s in same)]
        groups.append((holes.union(*(g[0] for g in same)), axis))
    return Counter(frozenset(holes) for holes, _ in groups)


def dxf_faults(frame: Frame, drawing: bytes) -> list[str]:
    """What the DXF file's blocks and tags say of holes that is not so."""
    document = ezdxf.read(io.StringIO(drawing.decode("utf-8")))
    wrong = [f"audit: {error.message}" for error in document.audit().errors]
    for insert in document.modelspace().query("INSERT"):
        view = document.blocks.get(insert.dxf.name)
        texts = [t.dxf.text for t in view.query("TEXT")]
        title = next(t for t in texts if t.endswith(" view"))
        towards = _towards(frame, title.removesuffix(" view"))
        wrong += [
            f"{insert.dxf.name}: tag {t} is not of holes on one another"
            for t in texts
            if TAG.fullmatch(t) and not _on(frame, [_hole(word) for word in t.split()])
        ]
        for part in view.query("INSERT"):
            id = part.dxf.name.removeprefix(f"{insert.dxf.name} ")
            at = [h.dxf.insert for h in document.blocks.get(part.dxf.name).query("INSERT")]
            wrong += [f"{part.dxf.name}: a hole at {p}" for p in at if not _is_hole(frame, id, p, towards)]
    return wrong


def _towards(frame: Frame, view: str) -> str:
    """The axis that points to who sees this view: the front is the longer level side, or that along x."""
    spots = []
    for m in frame.members:
        way = np.array(m.direction)
        across = np.sqrt(np.maximum(1 - way**2, 0)) * m.width / 2
        ends = np.array([m.first - way / 2, m.first + way * (m.holes - 0.5)])
        spots += [*(ends - across), *(ends + across)]
    sizes = np.round(np.ptp(spots, axis=0), 6)
    front, right = ("-y", "+x") if sizes[0] >= sizes[1] else ("+x", "+y")
    other = {"+": "-", "-": "+"}
    ways = {"Front": front, "Right": right, "Top": "+z"}
    opposite = {"Rear": "Front", "Left": "Right", "Bottom": "Top"}
    return ways.get(view) or other[ways[opposite[view]][0]] + ways[opposite[view]][1]


def _hole(word: str) -> tuple[str, int]:
    id, hole = re.fullmatch(r"([A-Z]+)(\d+)", word).groups()
    return id, int(hole)


def _is_hole(frame: Frame, id: str, at, towards: str) -> bool:
    """Whether a member has a hole at this place of a view, mm, as one sees it from there."""
    m = frame.member(id)
    centres = np.array([_centre(frame, id, hole) for hole in range(1, m.holes + 1)]) * frame.pitch_mm
    if towards in SEEN:
        axes = re.findall(r"([+-])([xyz])", SEEN[towards])
        right, up = (float(sign + "1") * np.eye(3)["xyz".index(axis)] for sign, axis in axes)
        flats = [centres @ np.array([right, up]).T]
    else:  # from above or below, where any side may be at the foot: what is seen must not be mirrored
        z = 1.0 if towards == "+z" else -1.0
        turns = [np.array([[c, -s], [s, c]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
        flats = [centres[:, :2] * [1.0, z] @ turn.T for turn in turns]
    return any(np.abs(flat - [at[0], at[1]]).max(axis=1).min() < 0.5 for flat in flats)


def run(args: list[str]) -> int:
    """Print what is wrong; returns 1 where anything is."""
    count, first = (int(x) for x in (*args, *("200", "0")[len(args) :]))
    bad = laps = 0
    for seed in range(first, first + count):
        frame = random_frame(seed)
        laps += sum(_bolts(frame).values())
        wrong = faults(frame)
        bad += bool(wrong)
        for text in wrong[:3]:
            print(f"seed {seed}: {text}", flush=True)
    print(f"{count} frames, {laps} bolts: {count - bad} without a wrong hole number")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
