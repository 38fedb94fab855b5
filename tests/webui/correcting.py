"""Clicks, keys, drags and seconds from a frame with three wrong members to the exact one, by its doubts.

    python -m tests.webui.correcting [--seeds N] [--samples FOLDER ...] [--hand keys|mouse] [--mistakes 2|3]

A hand in Chromium goes through the doubts as a person would who looks at the photos: right ones are
confirmed, wrong ones put right, by real keys and clicks on what the page shows; what is then still
missing is drawn on a photo. It is counted until the frame is the truth, member by member, up to labels
and the ways that the frame fits itself.

What its seconds are, tests/webui/hand.py says.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

import numpy as np

from tests.webui.browsing import ARGUMENTS, CHROMIUM, PLACE, ROOT, STORE, load_frame_from, same, sample_build
from tests.webui.hand import H, K, M, P, at_work
from tests.webui.in_page import in_page
from tests.webui.wrong import photos_to_draw, wrong_frame

SAMPLES = ("trestle", "cart", "oddment")
NOW = in_page("const {doubt: at, members, end} = chosen; return {doubts: build.doubts, at, members, end};")


def key_of(doubt):
    return (doubt["kind"], tuple(doubt["members"]), str(doubt["lap"]), doubt["end"])


def what_is_wrong(frame, truth, id):
    """(first holes, last holes, along): how much longer member `id` should be at each end and how far it
    should be shifted along itself; None where it should not be there."""
    m = frame.member(id)
    for t in truth.members:
        off = np.array(t.first) - m.first
        along = off @ np.array(m.direction)
        if (
            np.allclose(t.direction, m.direction)
            and np.allclose(off, along * np.array(m.direction))
            and abs(along) < m.holes
        ):
            a, b = round(-along), round(along) + t.holes - m.holes
            return (0, 0, -a) if a == -b else (a, b, 0)
    return None


def go_through(page, hand, truth, mouse: bool) -> None:
    """The doubts from the first to the last, until the frame is exact."""
    done, there = set(), set()
    while not same(load_frame_from(page), truth):
        now = page.evaluate(NOW)
        left = [d for d in now["doubts"] if key_of(d) not in done and d["members"] and d["kind"] != "bolt"]
        if not left:
            return
        current = now["doubts"][now["at"]] if 0 <= now["at"] < len(now["doubts"]) else None
        if (
            current is None
            or key_of(current) not in map(key_of, left)
            or not set(current["members"]) <= set(now["members"])
        ):
            if mouse:
                hand.click(f"[data-key=doubt{now['doubts'].index(left[0])}]")
            else:
                target, at = now["doubts"].index(left[0]), now["at"]
                back = at >= target
                hand.key("k" if back and (at, target) not in there else "j")
                there.add((at, target))
            hand.wait()
            continue
        hand.decide()
        done.add(key_of(current))
        put_right(page, hand, truth, current, mouse)


def put_right(page, hand, truth, doubt, mouse) -> None:
    """Answers a doubt as one who knows the truth."""
    if len(doubt["members"]) > 1:  # of a piece or of two in one room; which is wrong has a doubt of its own
        return
    id = doubt["members"][0]
    frame = load_frame_from(page)
    wrong = what_is_wrong(frame, truth, id)
    at = page.evaluate(NOW)["at"]
    row = f".doubts li:nth-child({at + 1})"
    if wrong is None:
        delete = f"{row} >> text=Not there"
        if mouse:
            hand.click(delete if page.locator(delete).count() else "#card >> text=Delete")
        else:
            hand.key("Delete")
        hand.wait(1)
        return
    a, b, along = wrong
    for end, by in ((0, a), (1, b)):
        straight = f"{row} >> text='{'+' if by > 0 else '−'}{abs(by)}'"
        if mouse and by and doubt["end"] == end and page.locator(straight).count():
            hand.click(straight)
            hand.wait(1)
        elif by:
            move_end(page, hand, id, end, by, mouse)
    if along:
        shift_along(page, hand, along, mouse)
    if not any(wrong) and doubt["kind"] not in ("loose", "room"):  # settled when another member is put right
        if mouse:
            hand.click(f"{row} .answers button >> nth=0")
        else:
            hand.key("y")
        hand.wait(1)


def move_end(page, hand, id, end, by, mouse) -> None:
    """Makes a member so many holes longer at an end, hole by hole."""
    if not mouse and page.evaluate(NOW)["end"] != end:
        hand.key("e")
    for _ in range(abs(by)):
        m = load_frame_from(page).member(id)
        if mouse:
            more = "more" if by > 0 else "less"
            hand.click(f"[aria-label='One hole {more} at hole {m.holes if end else 1}']")
        else:
            hand.key("." if by > 0 else ",")
        hand.wait(1)


def shift_along(page, hand, along, mouse) -> None:
    """Shifts the chosen member so many holes along itself, hole by hole."""
    if mouse and not page.locator(".more[open]").count():
        hand.click(".more summary")
    for _ in range(abs(along)):
        if mouse:
            hand.click(f"[aria-label='Shift {'on' if along > 0 else 'back'} by a hole']")
        else:
            hand.key(">" if along > 0 else "<")
        hand.wait(1)


def draw_missing(page, hand, truth, data, mouse) -> None:
    """What is still missing is drawn, in the photo that shows its row longest."""
    frame = load_frame_from(page)
    there = {(m.first, m.direction, m.holes) for m in frame.members}
    for i, t in enumerate(truth.members):
        if (t.first, t.direction, t.holes) in there:
            continue
        hand.decide()
        photo, *ends = photos_to_draw(data, i, t.holes)[0]
        number = [p["file"] for p in data["photos"]].index(photo) + 1
        if mouse:
            hand.click(f"#picker button:has-text('{Path(photo).stem}')")
            hand.click("button[data-mode=draw]")
            hand.zoom_out(f"figure[data-photo='{photo}'] canvas")
        else:
            for key in (str(number), "f", "d"):
                hand.key(key)
        hand.wait()
        hand.drag(*(page.evaluate(PLACE, [photo, *map(float, xy)]) for xy in ends))
        page.wait_for_selector("text=New member")
        for _ in range(8):
            p = page.evaluate(STORE, "proposal")
            if np.allclose(p["first"], t.first) and p["holes"] == t.holes:
                break
            hand.decide()
            hand.click("text=Another place") if mouse else hand.key("n")
        hand.click("text=Add it") if mouse else hand.key("Enter")
        hand.wait(1)


def correct(browser, sample: Path, seed: int, hand: str, mistakes: int = 3):
    """(Hand, mistakes in words, whether it came out exact)."""
    wrong = wrong_frame(sample, seed, mistakes)
    data = json.loads((sample / "truth.json").read_text())
    with tempfile.TemporaryDirectory() as folder:
        build = sample_build(Path(folder) / "build", wrong.frame, sample)
        with at_work(browser, build, "mouse" if hand == "mouse" else "keyboard") as who:
            page, mouse = who.page, hand == "mouse"
            who.wait()
            who.waited = 0.0
            go_through(page, who, wrong.truth, mouse)
            if not same(load_frame_from(page), wrong.truth):
                draw_missing(page, who, wrong.truth, data, mouse)
            return who, wrong.told, same(load_frame_from(page), wrong.truth)


def run(args) -> int:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.webui.correcting")
    parser.add_argument("--seeds", type=int, default=4, help="wrong frames made of each sample")
    parser.add_argument(
        "--samples",
        nargs="*",
        default=[ROOT / "sample_images" / s for s in SAMPLES],
        type=Path,
        help="folders with truth.json",
    )
    parser.add_argument("--hand", choices=("keys", "mouse"), nargs="*", default=["keys", "mouse"])
    parser.add_argument("--mistakes", choices=(2, 3), type=int, default=3, help="members that are wrong")
    options = parser.parse_args(args)
    right = True
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for way in options.hand:
            rows = []
            for sample in options.samples:
                for seed in range(options.seeds):
                    hand, mistakes, exact = correct(browser, sample, seed, way, options.mistakes)
                    right &= exact
                    rows.append((hand.clicks, hand.keys, hand.drags, hand.M, hand.waited, hand.seconds()))
                    print(
                        f"{way:5} {sample.name:8} {seed}: {hand.clicks:2} clicks {hand.keys:2} keys "
                        f"{hand.drags} drags {hand.M:2} decisions, page {hand.waited:4.1f} s, "
                        f"person {hand.seconds():5.1f} s, {'exact' if exact else 'NOT EXACT'} "
                        f"({'; '.join(mistakes)})",
                        flush=True,
                    )
            middle, worst = np.median(rows, axis=0), np.max(rows, axis=0)
            print(
                f"{way}: median {middle[0]:.0f} clicks, {middle[1]:.0f} keys, {middle[2]:.0f} drags, "
                f"page {middle[4]:.1f} s, person {middle[5]:.0f} s (K {K} P {P} H {H} M {M}); "
                f"worst {worst[0]:.0f} clicks, {worst[1]:.0f} keys, {worst[5]:.0f} s",
                flush=True,
            )
        browser.close()
    return 0 if right else 1


if __name__ == "__main__":
    import sys

    if CHROMIUM is None:
        sys.exit("Chromium is missing; on Debian: apt-get install chromium.")
    sys.exit(run(sys.argv[1:]))
