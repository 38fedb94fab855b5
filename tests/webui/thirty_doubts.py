"""Actions and seconds of thirty doubts answered one by one, by keys and by mouse, and many at once.

    python -m tests.webui.thirty_doubts [--ways keys mouse bulk] [--count N]

A sample's true frame is made doubtful: ends out of sight, some of them a hole short, members that are not
sure, and every bolt out of sight.  A hand that knows the truth (tests/webui/hand.py has its seconds)
answers from the first doubt on, `bulk` with "Many at once" after it has answered what is an exception.  What
was answered is then compared with the truth.
"""

from __future__ import annotations

import argparse
import os
import random
import tempfile
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

from recon.corrections.state import joint_key
from recon.frame.files import frame_from_dict
from recon.frame.model import End, Frame
from tests.corrections.frames import ROOT, true_frame
from tests.webui.browsing import ARGUMENTS, CHROMIUM, load_frame_from, sample_build
from tests.webui.correcting import NOW
from tests.webui.hand import Hand, K, M, P, at_work

SAMPLE = ROOT / "sample_images" / "trestle"
SEED, EXTRA = 5, 2  # EXTRA: holes more that an end out of sight could have
# Members with the last end out of sight, with the first too, a hole short; and others that are not sure.
HIDDEN, BOTH, SHORT, UNSURE = 7, 3, 3, 4
WAYS = ("keys", "mouse", "bulk")


@dataclass(frozen=True)
class Doubtful:
    """frame : what the page opens.   truth : what it should be, with its bolts."""

    frame: Frame
    truth: Frame

    def missing_holes(self, id: str, end: int, frame: Frame) -> int:
        """Holes that a member lacks at an end, as the frame stands."""
        was, now = self.truth.member(id), frame.member(id)
        if end:
            return was.holes - now.holes - self.missing_holes(id, 0, frame)
        return round(sum((a - b) * d for a, b, d in zip(now.first, was.first, was.direction)))

    def bolt(self, lap) -> str:
        """ "none" or "said", as the truth has it."""
        members = {(lap[0], lap[2]), (lap[2], lap[0])}
        bolts = {j.bolt for j in self.truth.joints if (j.a, j.b) in members}
        return "none" if bolts == {"none"} else "said"


def doubtful(sample: Path = SAMPLE) -> Doubtful:
    """The sample's true frame with its doubts."""
    chance, truth = random.Random(SEED), true_frame(sample)
    ids = [m.id for m in truth.members]
    hidden = chance.sample(ids, HIDDEN)
    free = [id for id in hidden if _is_free(truth, id)]
    short, unsure = free[:SHORT], [id for id in ids if id not in hidden][:UNSURE]
    members = []
    for m in truth.members:
        if m.id in hidden:
            first = End("hidden", EXTRA) if m.id in hidden[:BOTH] else m.ends[0]
            m = replace(m, ends=(first, End("hidden", EXTRA)))
        if m.id in short:
            m = replace(m, holes=m.holes - 1)
        members.append(replace(m, confidence=0.7 if m.id in unsure else 0.97))
    joints = tuple(replace(j, bolt="assumed") for j in truth.joints)
    return Doubtful(replace(truth, members=tuple(members), joints=joints), truth)


def _is_free(frame: Frame, id: str) -> bool:
    """Whether no bolt goes through a member's last hole."""
    last = frame.member(id).holes - 1
    return not any((j.a, j.a_hole) == (id, last) or (j.b, j.b_hole) == (id, last) for j in frame.joints)


def answer(page, hand: Hand, doubt, at: int, case: Doubtful, mouse: bool) -> None:
    """Answers the doubt that is current, or, by mouse, any."""
    row = f".doubts li:nth-child({at + 1})"
    hand.decide()
    if doubt["kind"] == "bolt":
        there = case.bolt(doubt["lap"]) == "said"
        if mouse:
            hand.click(f"{row} .answers button >> text={'Bolt there' if there else 'No bolt'}")
        else:
            hand.key("y" if there else "b")
        hand.wait(1)
        return
    if doubt["kind"] in ("end", "unlikely"):
        by = case.missing_holes(doubt["members"][0], doubt["end"], load_frame_from(page))
        if by:
            if mouse:
                holes = case.truth.member(doubt["members"][0]).holes
                hand.click(f"{row} .answers > button:text-matches('^([+]{by}|{holes}(,.*)?)$') >> nth=0")
            else:
                hand.key(".")
            hand.wait(1)
            return
    if mouse:
        hand.click(f"{row} .answers button >> nth=0")
    else:
        hand.key("y")
    hand.wait(1)


def one_by_one(page, hand: Hand, case: Doubtful, count: int, mouse: bool) -> Counter[str]:
    """Answers `count` doubts; how many of each kind."""
    done: Counter[str] = Counter()
    while sum(done.values()) < count:
        now = page.evaluate(NOW)
        if not now["doubts"]:
            break
        at = now["at"] if 0 <= now["at"] < len(now["doubts"]) else -1
        if mouse:
            at = 0
        elif at < 0 or not _is_current(now, at):
            hand.key("j")
            hand.wait()
            continue
        doubt = now["doubts"][at]
        answer(page, hand, doubt, at, case, mouse)
        done[doubt["kind"]] += 1
    return done


def _is_current(now, at: int) -> bool:
    return set(now["doubts"][at]["members"]) == set(now["members"])


def at_once(page, hand: Hand, case: Doubtful, count: int) -> Counter[str]:
    """Answers exceptions where they stand, then the rest of each kind with one press."""
    done: Counter[str] = Counter()
    frame = load_frame_from(page)
    for at, doubt in reversed(list(enumerate(page.evaluate(NOW)["doubts"]))):
        if _is_exception(doubt, case, frame):
            answer(page, hand, doubt, at, case, True)
            done[doubt["kind"]] += 1
    while (doubts := page.evaluate(NOW)["doubts"]) and sum(done.values()) < count:
        kind = doubts[0]["kind"]
        hand.click("[data-key=doubt0]")
        hand.wait()
        hand.decide()
        hand.click(".bulk summary")
        select = "[aria-label='Which to answer at once']"
        if page.locator(f"{select} option").count() > 1:
            hand.click(select)
            page.select_option(select, index=page.locator(f"{select} option").count() - 1)
            hand.keys, hand.K = hand.keys + 1, hand.K + 1
        hand.click(f".bulk button >> text={'All there' if kind == 'bolt' else 'All right'}")
        hand.wait(1)
        left = page.evaluate(NOW)["doubts"]
        done[kind] += len(doubts) - len(left)
    return done


def _is_exception(doubt, case: Doubtful, frame: Frame) -> bool:
    if doubt["kind"] == "bolt":
        return case.bolt(doubt["lap"]) == "none"
    return doubt["kind"] == "end" and case.missing_holes(doubt["members"][0], doubt["end"], frame) > 0


def wrong_answers(frame: Frame, case: Doubtful) -> list[str]:
    """What was answered and is not as in the truth."""
    found = [
        f"{m.id}: {m.holes} holes, truth {case.truth.member(m.id).holes}"
        for m in frame.members
        if all(e.state == "seen" for e in m.ends) and m.holes != case.truth.member(m.id).holes
    ]
    return found + [
        f"{joint_key(j)}: {j.bolt}"
        for j in frame.joints
        if j.bolt != "assumed" and j.bolt != case.bolt(joint_key(j))
    ]


def measure(browser, way: str, count: int) -> bool:
    """Answers them in one way and prints what it took; whether all answers are right."""
    case = doubtful()
    with tempfile.TemporaryDirectory() as folder:
        build = sample_build(Path(folder) / "build", case.frame, SAMPLE)
        with at_work(browser, build, "keyboard" if way == "keys" else "mouse") as hand:
            page = hand.page
            hand.wait()
            hand.waited = 0.0
            if way == "bulk":
                done = at_once(page, hand, case, count)
            else:
                done = one_by_one(page, hand, case, count, way == "mouse")
            wrong = wrong_answers(frame_from_dict(_frame(page)), case)
            left = len(page.evaluate(NOW)["doubts"])
    kinds = ", ".join(f"{n} {kind}" for kind, n in done.items())
    actions = hand.clicks + hand.keys + hand.drags
    print(
        f"{way:5}: {sum(done.values())} doubts ({kinds}), {actions} actions ({hand.clicks} clicks, "
        f"{hand.keys} keys), {hand.M} decisions, page {hand.waited:.1f} s, person {hand.seconds():.0f} s "
        f"(K {K} P {P} M {M}); {left} doubts left, {len(wrong)} wrong",
        flush=True,
    )
    for text in wrong:
        print(f"  {text}")
    return not wrong


def _frame(page):
    return page.evaluate("async () => (await fetch('/api/papers/frame')).json()")


def run(args) -> int:
    """Measures every way; 0 where all answers were right."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.webui.thirty_doubts")
    parser.add_argument("--ways", nargs="*", choices=WAYS, default=list(WAYS))
    parser.add_argument("--count", type=int, default=30, help="doubts that are answered")
    options = parser.parse_args(args)
    with tempfile.TemporaryDirectory() as settings, sync_playwright() as playwright:
        os.environ["XDG_CONFIG_HOME"] = settings
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        right = [measure(browser, way, options.count) for way in options.ways]
        browser.close()
    return 0 if all(right) else 1


if __name__ == "__main__":
    import sys

    if CHROMIUM is None:
        sys.exit("Chromium is missing; on Debian: apt-get install chromium.")
    sys.exit(run(sys.argv[1:]))
