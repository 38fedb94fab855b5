"""Actions and seconds from a build that differs from its plan in ten things to one that does not.

    python -m tests.webui.ten_differences [--seeds N]

The plan is a sample's true frame; the build has ten differences of the kinds that a build has: members too
long, too short, shifted, missing, not planned, and bolts that are not there.  A hand by mouse
(tests/webui/hand.py has its seconds) goes down the panel of the plan, looks at each place, and presses
what mends it, until nothing differs any more.
"""

from __future__ import annotations

import argparse
import os
import random
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from recon.corrections.state import ordered
from recon.frame.files import frame_from_dict, frame_to_text
from recon.frame.joints import collisions, find_joints
from recon.frame.model import End, Frame, Member, label
from recon.workshop.audit.differences import audit_frame
from tests.corrections.frames import ROOT, true_frame
from tests.webui.browsing import ARGUMENTS, CHROMIUM, sample_build, until
from tests.webui.hand import H, Hand, K, M, P, at_work
from tests.webui.in_page import in_page

SAMPLE = ROOT / "sample_images" / "cart"
DIFFERENCES, TRIES, LEAST_HOLES = 10, 400, 8
MOST_PRESSES = 60  # by then something does not mend what it says
AUDITED = in_page(
    """const {derived} = await import('/static/core/derived.js');
  const known = derived.audit && live.doubts === build.n && live.parts === build.n;
  return known && {verdict: derived.audit.verdict, problem: derived.audit.problem || '',
    differences: derived.audit.differences || [], unchecked: (derived.audit.not_checked || []).length};"""
)


@dataclass(frozen=True)
class Case:
    """frame : what the page opens.   plan : what it should be.   made : the differences, in words."""

    frame: Frame
    plan: Frame
    made: tuple[str, ...]


def different(seed: int, sample: Path = SAMPLE) -> Case:
    """A build with ten differences, each of which the audit names."""
    chance, truth = random.Random(seed), true_frame(sample)
    plan = replace(truth, photos=(), name="Plan")
    frame, made = _plain(truth), list[str]()
    kinds = [_shorter, _longer, _shifted, _without, _more, _bolt_gone]
    for k in range(TRIES):
        if len(made) == DIFFERENCES:
            break
        change = kinds[(len(made) + k) % len(kinds)](frame, chance)
        if change is None or collisions(change[0].members):
            continue
        built = _lapped(change[0], truth)
        if len(audit_frame(built, plan).differences) == len(made) + 1:
            frame, made = change[0], [*made, change[1]]
    return Case(_lapped(frame, truth), plan, tuple(made))


def _plain(frame: Frame) -> Frame:
    members = [replace(m, ends=(End("seen"), End("seen")), confidence=1.0) for m in frame.members]
    return replace(frame, members=tuple(members))


def _lapped(frame: Frame, truth: Frame) -> Frame:
    """The frame with its laps: bolts seen, but where the change took one out or the truth has none."""
    gone = {frozenset((j.a, j.b)) for j in (*frame.joints, *truth.joints) if j.bolt == "none"}
    joints = [
        replace(j, bolt="none" if frozenset((j.a, j.b)) in gone else "seen")
        for j in find_joints(frame.members)
    ]
    return replace(frame, joints=ordered(frame.members, joints))


Change = tuple[Frame, str] | None


def _touched(frame: Frame, chance: random.Random, change: Callable[[Member], tuple[Member, str]]) -> Change:
    m = chance.choice([m for m in frame.members if m.holes >= LEAST_HOLES])
    new, words = change(m)
    return replace(frame, members=tuple(new if o.id == m.id else o for o in frame.members)), words


def _shorter(frame: Frame, chance: random.Random) -> Change:
    return _touched(frame, chance, lambda m: (replace(m, holes=m.holes - 1), f"{m.id} a hole too short"))


def _longer(frame: Frame, chance: random.Random) -> Change:
    return _touched(frame, chance, lambda m: (replace(m, holes=m.holes + 2), f"{m.id} two holes too long"))


def _shifted(frame: Frame, chance: random.Random) -> Change:
    def on(m: Member) -> tuple[Member, str]:
        first = tuple(map(float, m.hole_centre(1)))
        return replace(m, first=first), f"{m.id} a hole further on"

    return _touched(frame, chance, on)


def _without(frame: Frame, chance: random.Random) -> Change:
    gone = chance.choice(frame.members)
    members = tuple(m for m in frame.members if m is not gone)
    joints = tuple(j for j in frame.joints if gone.id not in (j.a, j.b))
    return replace(frame, members=members, joints=joints), f"{gone.id} missing"


def _more(frame: Frame, chance: random.Random) -> Change:
    like, k = chance.choice(frame.members), chance.randrange(3)
    first = tuple(v + (chance.choice((-3, 3)) if i == k else 0) for i, v in enumerate(like.first))
    id = label(len(frame.members) + 20)
    return replace(frame, members=(*frame.members, replace(like, id=id, first=first))), f"{id} not planned"


def _bolt_gone(frame: Frame, chance: random.Random) -> Change:
    lap = chance.choice(frame.joints)
    joints = tuple(replace(j, bolt="none") if j == lap else j for j in frame.joints)
    return replace(frame, joints=joints), f"no bolt in {lap.a} and {lap.b}"


def put_right(page, hand: Hand) -> int:
    """Presses what mends each difference, the topmost that can be mended first; how many were pressed."""
    for pressed in range(MOST_PRESSES):
        audit = _audit(page)
        if not audit["differences"]:
            return pressed
        at = next(i for i, d in enumerate(audit["differences"]) if d["mend"])
        difference = audit["differences"][at]
        hand.click(f"[data-key=plan{at}]")  # its place comes into view
        hand.decide()
        planned = next((m for m in difference["mend"] if m["text"] == "As planned"), difference["mend"][0])
        row = f"#panel li:has([data-key=plan{at}])"
        hand.click(f"{row} .answers button >> text='{planned['text']}' >> nth=0")
        hand.wait(len(planned["requests"]))
    return MOST_PRESSES


def _audit(page):
    until(page, AUDITED)
    return page.evaluate(AUDITED)


def measure(browser, seed: int) -> bool:
    """One build put right; whether it is as planned in the end."""
    case = different(seed)
    with tempfile.TemporaryDirectory() as folder:
        build = sample_build(Path(folder) / "build", case.frame, SAMPLE)
        (build / "plan.json").write_text(frame_to_text(case.plan), encoding="utf-8")
        with at_work(browser, build) as hand:
            page = hand.page
            hand.click("#plan")
            hand.wait()
            hand.waited = 0.0
            found = len(_audit(page)["differences"])
            pressed = put_right(page, hand)
            unchecked = _audit(page)["unchecked"]
            data = page.evaluate("async () => (await fetch('/api/papers/frame')).json()")
    left = audit_frame(frame_from_dict(data), case.plan).differences
    print(
        f"{seed}: {found} differences, {pressed} mended, {hand.clicks} actions, {hand.M} decisions, "
        f"page {hand.waited:.1f} s, person {hand.seconds():.0f} s (K {K} P {P} H {H} M {M}), "
        f"{len(left)} left, {unchecked} not checked ({'; '.join(case.made)})",
        flush=True,
    )
    for difference in left:
        print(f"  {difference.full_text}")
    return not left


def run(args) -> int:
    """Puts builds right; 0 where all are as planned in the end."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.webui.ten_differences")
    parser.add_argument("--seeds", type=int, default=3, help="builds that are put right")
    options = parser.parse_args(args)
    with tempfile.TemporaryDirectory() as settings, sync_playwright() as playwright:
        os.environ["XDG_CONFIG_HOME"] = settings
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        right = [measure(browser, seed) for seed in range(options.seeds)]
        browser.close()
    return 0 if all(right) else 1


if __name__ == "__main__":
    import sys

    if CHROMIUM is None:
        sys.exit("Chromium is missing; on Debian: apt-get install chromium.")
    sys.exit(run(sys.argv[1:]))
