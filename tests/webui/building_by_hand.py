"""Actions and seconds from one blurred photo, in which nothing reads, to its frame, by hand alone.

    python -m tests.webui.building_by_hand [--styles STYLE ...] [--blur PX] [--read]

A photo of a frame of 12 members is rendered, blurred until its reading is refused (`--read` tries that, which
takes a minute), and opened in Chromium.  A hand that looks at the photo as a person would strokes along rows
and types their counts until the camera is known, then draws the other members on the photo, or in 3-D where
the photo shows too little of them.  Its ends are off by about a pixel of the screen.  It is counted until the
frame is the truth, member by member, up to labels and the ways that the frame fits itself.  What a member's
count is where the photo hides an end, and which of several places is meant, the hand knows, as one who built
the frame does.

Actions are drags, clicks and keys.  Seconds are those of the keystroke-level model, as in `correcting.py`.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

from recon.frame.lattice import align, transform
from recon.frame.model import Frame
from tests.truth import frame_from_truth
from tests.webui.browsing import ARGUMENTS, CHROMIUM, PLACE, load_frame_from, same, shot
from tests.webui.hand import Hand
from tests.webui.in_page import in_page

SEEDS = {"cart": 5, "table": 4, "cube": 3}  # of each style: the frame that is rendered
PHOTO, LONG_SIDE, SPP = "photo_1.jpg", 1400, 3
BLUR_PX = 5.5  # standard deviation, px: as wide as two thirds of a hole; 4 still read two members of 12
HAND_PX = 1.0  # of the screen: standard error of where a hand begins and ends a drag; this project's choice
PATIENCE_S = 40
MOST_ROWS = 6
ROOM_PX = 90  # of the screen round the frame once the hand has zoomed in
LEAST_ROW_PX = 40  # of the photo: shorter rows are drawn in 3-D
GHOSTS = in_page("return build.ghosts.filter(g => g.current).map(g => g.member);")
PROPOSAL = in_page("return build.proposal && {...build.proposal};")
ROWS_KEPT = in_page("return (build.corrections.rows?.[photo] || []).length;", "photo")
# A place in space (pitches) on the screen.
IN_SPACE = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect();
  const p = new Vector3(...place).project(v.camera);
  return [b.left + (p.x + 1) / 2 * v.width, b.top + (1 - p.y) / 2 * v.deep];""",
    "place",
)


def rendered(style: str, folder: Path):
    """A photo and its truth; kept between runs in the system's folder for such things."""
    from tests.render.make import quick_frame

    kept = Path(tempfile.gettempdir()) / f"by_hand_{style}_{SEEDS[style]}_{LONG_SIDE}_{SPP}"
    if not (kept / "truth.json").is_file():
        kept.mkdir(exist_ok=True)
        pictures, truth = quick_frame(
            SEEDS[style], style=style, members=12, photos=1, long_side=LONG_SIDE, spp=SPP
        )
        Image.fromarray(pictures[0]).save(kept / "photo.png")
        (kept / "truth.json").write_text(json.dumps(truth))
    return Image.open(kept / "photo.png"), json.loads((kept / "truth.json").read_text())


class Sight:
    """What a person sees of the frame on the photo: rows with their first and last holes in sight."""

    def __init__(self, data):
        self.data = data
        self.rows: dict[int, list[tuple[tuple[int, np.ndarray], tuple[int, np.ndarray]]]] = {}
        faces: dict[tuple, dict[int, np.ndarray]] = {}
        for h in data["photos"][0]["holes"]:
            if h["seen"] >= 6:
                faces.setdefault((h["stick"], *h["normal"]), {})[h["hole"]] = np.array(h["xy"])
        for (i, *_), seen in faces.items():
            if len(seen) > 1:
                ends = min(seen), max(seen)
                self.rows.setdefault(i, []).append(tuple((k, seen[k]) for k in ends))

    def holes(self, i):
        return self.data["sticks"][i]["holes"]

    def whole(self, i):
        """The longest row of member i that shows both its ends, as two places; None where none does."""
        rows = [r for r in self.rows.get(i, []) if r[0][0] == 0 and r[1][0] == self.holes(i) - 1]
        return max(rows, key=_length, default=None)

    def part(self, i):
        """The row of member i that begins or ends at an end of it, turned so; (places, holes drawn)."""
        found = []
        for first, last in self.rows.get(i, []):
            if first[0] == 0:
                found.append((first, last))
            elif last[0] == self.holes(i) - 1:
                found.append((last, first))
        return max(found, key=_length, default=None)

    def longest(self, i):
        """The longest row of member i that is in sight."""
        return max(self.rows.get(i, []), key=_length, default=None)


def _length(row) -> float:
    return float(np.linalg.norm(row[1][1] - row[0][1]))


class Builder:
    """A hand that builds the frame of a truth on the page."""

    def __init__(self, page, data, rng):
        self.page, self.sight, self.rng = page, Sight(data), rng
        self.truth = frame_from_truth(data)
        self.hand = Hand(page)
        self.placed: Frame | None = None  # the truth where the page has it

    def stroke(self, ends):
        spots = [
            np.array(self.page.evaluate(PLACE, [PHOTO, *map(float, xy)])) + self.rng.normal(0, HAND_PX, 2)
            for xy in ends
        ]
        self.hand.drag(*(tuple(map(float, s)) for s in spots))

    def until(self, what, arg=None):
        start = time.perf_counter()
        while time.perf_counter() - start < PATIENCE_S:
            found = self.page.evaluate(what, arg)
            if found:
                self.hand.waited += time.perf_counter() - start
                return found
            self.page.wait_for_timeout(10)
        raise AssertionError(f"never came: {what}; {self.page.inner_text('#messages')}")

    def type(self, number):
        for digit in str(number):
            self.hand.key(digit)

    # The camera

    def zoom_in(self):
        """The wheel over the photo until the frame fills it; counted as pointing and one press of a key."""
        spots = np.array([h["xy"] for h in self.sight.data["photos"][0]["holes"]])
        middle = (spots.min(axis=0) + spots.max(axis=0)) / 2
        self.hand.take_wheel()
        self.page.mouse.move(*self.page.evaluate(PLACE, [PHOTO, *map(float, middle)]))
        box = self.page.locator(f"figure[data-photo='{PHOTO}'] canvas").bounding_box()
        low, high = ([box["x"], box["y"]], [box["x"] + box["width"], box["y"] + box["height"]])
        for _ in range(30):
            corners = [
                self.page.evaluate(PLACE, [PHOTO, *map(float, f(axis=0))]) for f in (spots.min, spots.max)
            ]
            if (np.array(corners[0]) < np.add(low, ROOM_PX)).any() or (
                np.array(corners[1]) > np.subtract(high, ROOM_PX)
            ).any():
                break
            self.page.mouse.wheel(0, -60)
            self.page.wait_for_timeout(30)

    def find_camera(self):
        order = self.first_rows()
        for k, i in enumerate(order):
            self.hand.decide()
            self.stroke([xy for _, xy in self.sight.whole(i)])
            self.page.wait_for_selector("#row-holes")
            self.type(self.sight.holes(i))
            self.hand.key("Enter")
            self.until(ROWS_KEPT.replace(".length;", f".length > {k};"), PHOTO)
            if k >= 2 and self.answer_is_right(order[: k + 1]):
                self.hand.key("Enter")
                self.until(in_page("return build.members.size > 0 && !build.rows;"))
                self.place_truth()
                return
        raise AssertionError("no answer was right")

    def first_rows(self):
        """Members whose rows show both ends: the longest of each direction, then the longest."""
        whole = {i: self.sight.whole(i) for i in range(len(self.truth.members))}
        order = sorted((i for i in whole if whole[i]), key=lambda i: -_length(whole[i]))
        axis = [int(np.abs(m.direction).argmax()) for m in self.truth.members]
        first = [next(i for i in order if axis[i] == a) for a in range(3) if any(axis[i] == a for i in order)]
        return (first + [i for i in order if i not in first])[:MOST_ROWS]

    def answer_is_right(self, members) -> bool:
        self.until(
            in_page(
                "return build.rows && !build.rows.busy && (build.rows.answers.length || build.rows.problem);"
            )
        )
        count = self.page.evaluate(in_page("return build.rows.answers.length;"))
        wanted = Frame(tuple(self.truth.members[i] for i in members))
        for _ in range(count):
            ghosts = self.page.evaluate(GHOSTS)
            if len(ghosts) == len(members) and same(_frame(ghosts), wanted):
                return True
            self.hand.decide()
            self.hand.key("n")
        return False

    def place_truth(self):
        there = load_frame_from(self.page)
        at = align(self.truth, there)
        self.placed = transform(self.truth, at.turn, at.shift)

    # The other members

    def missing(self):
        there = load_frame_from(self.page).members
        return [
            i
            for i, m in enumerate(self.placed.members)
            if not any(_place(m) == _place(other) for other in there)
        ]

    def add_others(self):
        left = self.missing()
        order = sorted(left, key=lambda i: (not self.sight.whole(i), not self.sight.part(i)))
        for i in order:
            self.hand.decide()
            rows = [self.sight.whole(i), self.sight.part(i), self.sight.longest(i)]
            if not any(self.on_photo(i, row) for row in rows if row and _length(row) > LEAST_ROW_PX):
                self.in_space(i)

    def on_photo(self, i, row) -> bool:
        """Draws what of member i is in sight and gives it the holes that it has."""
        drawn = abs(row[1][0] - row[0][0]) + 1
        wanted = self.placed.members[i]
        self.stroke([xy for _, xy in row])
        proposal = self.until(PROPOSAL)
        seen = set()
        while not _holds(wanted, proposal, drawn):
            key = (tuple(proposal["first"]), proposal["holes"])
            if key in seen:
                self.hand.key("Escape")
                return False
            seen.add(key)
            self.hand.decide()
            self.hand.key("n")
            proposal = self.until(PROPOSAL)
        if proposal["holes"] != wanted.holes and row[0][0] in (0, wanted.holes - 1):
            self.type(wanted.holes)  # from the end where the stroke began
            self.until(in_page("return build.proposal?.holes === n;", "n"), wanted.holes)
        self.accept()
        self.move_ends(wanted)
        return True

    def move_ends(self, wanted):
        """Moves the ends of the member that was added last, by keys."""
        m = load_frame_from(self.page).members[-1]
        way = np.array(m.direction)
        low = (
            round(float((np.array(m.first) - wanted.first) @ way))
            if way @ wanted.direction > 0
            else (round(float((np.array(m.first) - wanted.last) @ way)))
        )
        for end, by in ((1, wanted.holes - m.holes - low), (0, low)):
            if by and self.page.evaluate(in_page("return chosen.end;")) != end:
                self.hand.key("e")
            for _ in range(abs(by)):
                n = self.page.evaluate(in_page("return build.n;"))
                self.hand.key("." if by > 0 else ",")
                self.until(in_page("return build.n > n;", "n"), n)

    def accept(self):
        before = self.page.evaluate(in_page("return build.members.size;"))
        self.hand.key("Enter")
        self.until(in_page("return build.members.size > n;", "n"), before)

    def in_space(self, i):
        """Draws a member from a hole of one that is there, in 3-D."""
        self.hand.key("2")  # the frame in 3-D, large
        wanted, there = self.placed.members[i], load_frame_from(self.page)
        start = _start_in_space(wanted, there)
        if start is None:
            raise AssertionError(f"member {i} touches none that is there")
        grip, ends = start
        for _ in range(12):
            spots = [self.page.evaluate(IN_SPACE, list(map(float, p))) for p in (grip, *ends)]
            self.hand.drag(tuple(spots[0]), tuple(spots[2]))
            self.page.wait_for_timeout(300)
            proposal = self.page.evaluate(PROPOSAL)
            if proposal and _same_place(wanted, proposal):
                self.accept()
                break
            if proposal and self.typed_right(wanted):
                break
            if proposal:
                self.hand.key("Escape")
            self.turn_view()
        else:
            raise AssertionError(f"member {i} could not be drawn in 3-D")
        self.hand.key("1")

    def typed_right(self, wanted) -> bool:
        self.type(wanted.holes)
        self.until(in_page("return build.proposal?.holes === n;", "n"), wanted.holes)
        if not _same_place(wanted, self.page.evaluate(PROPOSAL)):
            return False
        self.accept()
        return True

    def turn_view(self):
        box = self.page.locator("figure.space canvas").first.bounding_box()
        corner = (box["x"] + 30, box["y"] + 60)
        self.hand.drag(corner, (corner[0] + 130, corner[1] + 10))


def _frame(members) -> Frame:
    from recon.corrections.codec import member_from_json

    plain = {
        "stock": None,
        "confidence": 1.0,
        "ends": [{"state": "seen", "extra": 0}] * 2,
        "on_lattice": True,
    }
    return Frame(tuple(member_from_json({**plain, "seen": 0, **m}) for m in members))


def _place(m):
    ends = sorted([tuple(np.round(m.first, 3) + 0.0), tuple(np.round(m.last, 3) + 0.0)])
    return tuple(ends)


def _ends_json(p):
    first, way = np.array(p["first"]), np.array(p["direction"])
    return sorted(tuple(np.round(x, 3) + 0.0) for x in (first, first + (p["holes"] - 1) * way))


def _same_place(m, p) -> bool:
    return list(_place(m)) == _ends_json(p)


def _holds(m, p, drawn) -> bool:
    """Whether a proposal is a part of a member or all of it, as long as what was drawn or as all of it."""
    there = {tuple(np.round(c, 3) + 0.0) for c in m.hole_centres()}
    return set(_ends_json(p)) <= there and p["holes"] in (drawn, m.holes)


def _start_in_space(wanted, there: Frame):
    """A place on a known member's face where the hand begins, and the new member's two ends from there."""
    from recon.frame.joints import find_joints

    trial = (*there.members, wanted.__class__(**{**vars(wanted), "id": "?"}))
    for joint in find_joints(trial):
        if "?" not in (joint.a, joint.b):
            continue
        new_hole = joint.a_hole if joint.a == "?" else joint.b_hole
        known = joint.b if joint.a == "?" else joint.a
        known_hole = joint.b_hole if joint.a == "?" else joint.a_hole
        normal = np.array(joint.axis) * (-1 if joint.a == "?" else 1)
        m = there.member(known)
        if new_hole not in (0, wanted.holes - 1):
            continue
        ends = [wanted.hole_centre(0), wanted.hole_centre(wanted.holes - 1)]
        if new_hole:
            ends = ends[::-1]
        return m.hole_centre(known_hole) + normal * m.width / 2, ends
    return None


def build(browser, style: str, blur: float, read: bool):
    """(Hand, whether it came out exact, refusal of the reading or None)."""
    from tests.webui.benchmark import Serving

    with tempfile.TemporaryDirectory() as work:
        picture, data = rendered(style, Path(work))
        folder = Path(work) / "build"
        folder.mkdir()
        picture.filter(ImageFilter.GaussianBlur(blur)).save(folder / PHOTO, quality=92)
        serving = Serving(folder)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        try:
            page.goto(serving.page.address)
            page.wait_for_selector("body[data-ready]")
            page.wait_for_timeout(1500)
            refusal = refused(page) if read else None
            builder = Builder(page, data, np.random.default_rng(1))
            hand = builder.hand
            hand.on = "mouse"
            if refusal:
                hand.click("#notice button >> nth=0")  # it lies over the photo
            hand.key("1")
            hand.key("d")
            page.wait_for_timeout(300)
            builder.zoom_in()
            builder.find_camera()
            hand.key("1")  # the page shows the frame beside it once there is a camera
            shot(page, f"by_hand_{style}_camera")
            builder.add_others()
            shot(page, f"by_hand_{style}_done")
            return hand, same(load_frame_from(page), builder.truth), refusal
        finally:
            if sys.exc_info()[0] is not None:
                shot(page, f"by_hand_{style}_failed")
            page.close()
            serving.close()


def refused(page) -> str:
    """Reads the photo and gives the sentence of the refusal."""
    page.click("#read")
    page.click("#dialog button.main, #dialog button >> nth=0")
    page.wait_for_selector("#job:not([hidden])")
    page.wait_for_selector("#job[hidden]", state="attached", timeout=300_000)
    return page.inner_text("#panel p >> nth=0")


def run(args) -> int:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.webui.building_by_hand")
    parser.add_argument("--styles", nargs="*", choices=SEEDS, default=["cart", "table"])
    parser.add_argument("--blur", type=float, default=BLUR_PX, help="standard deviation, px")
    parser.add_argument("--read", action="store_true", help="read the photo first, which is refused")
    options = parser.parse_args(args)
    right = True
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for style in options.styles:
            hand, exact, refusal = build(browser, style, options.blur, options.read)
            right &= exact
            print(
                f"{style}: {hand.clicks + hand.keys + hand.drags} actions ({hand.drags} drags, "
                f"{hand.clicks} clicks, {hand.keys} keys), {hand.M} decisions, page {hand.waited:.1f} s, "
                f"person {hand.seconds():.0f} s, {'exact' if exact else 'NOT EXACT'}"
                + (f"; the reading said: {refusal}" if refusal else ""),
                flush=True,
            )
        browser.close()
    return 0 if right else 1


if __name__ == "__main__":
    if CHROMIUM is None:
        sys.exit("Chromium is missing; on Debian: apt-get install chromium.")
    sys.exit(run(sys.argv[1:]))
