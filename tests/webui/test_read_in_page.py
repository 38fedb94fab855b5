"""The whole way with the real reader: corrections stay when it solves again; the rest is read as before."""

import signal
from dataclasses import replace

import numpy as np

from recon.frame.files import load_frame
from recon.frame.lattice import align, transform
from recon.frame.model import Frame
from recon.solve.evidence.candidate import same_line
from recon.solve.priors.constraints import Constraints, known_candidates
from tests.waiting import READING_S, until
from tests.webui.browsing import SAMPLE, STORE, load_frame_from, served, shot, true_frame, wait_n
from tests.webui.in_page import in_page

READ = in_page("return build.n >= n && !build.job.running;", "n")


def places(frame):
    """id -> the centres of its end holes, in order."""
    return {m.id: sorted(map(tuple, np.round([m.first, m.last], 4))) for m in frame.members}


def solved(page, n):
    """Waits until the photos are read."""

    def read():
        assert not page.evaluate(STORE, "job")["problem"]
        return page.evaluate(READ, n)

    pause = lambda s: page.wait_for_timeout(1000 * s)  # noqa: E731
    until(read, "the end of the reading", pause, step_s=0.5, quiet_s=READING_S)


def in_its_place(truth, frame):
    laid = align(truth, frame)
    return transform(truth, laid.turn, laid.shift)


def end_pressed(page, member, end, by):
    """An end moved by its buttons."""
    n = page.evaluate(STORE, "n")
    page.click(f"[data-key='{member.id}']")
    for k in range(abs(by)):
        holes = member.holes + (k if by > 0 else -k)
        page.click(
            f"[aria-label='One hole {'more' if by > 0 else 'less'} at hole {1 if end == 0 else holes}']"
        )
        wait_n(page, n + k + 1)


def test_photos_are_read_corrected_and_solved_again_around_the_corrections(opened, tmp_path):
    process, address = served(tmp_path / "build", solver="recon.solve")
    try:
        page = opened(address)
        page.set_input_files("#files", sorted(map(str, SAMPLE.glob("photo_*.jpg"))))
        page.wait_for_selector("figure[data-photo='photo_3.jpg']")
        page.click("#read")
        page.click("dialog button.main")
        solved(page, 1)
        first = load_frame_from(page)
        truth = in_its_place(true_frame(), first)
        right = {m.id for m in first.members if places(first)[m.id] in places(truth).values()}
        assert len(right) >= len(truth.members) - 1

        page.click("#tab-members")  # one: what was read wrong is put right
        wrong = next((m for m in first.members if m.id not in right), None)
        if wrong is not None:
            put_right(page, wrong, truth)
        sure = sorted((m for m in first.members if m.id in right), key=lambda m: -m.seen)
        end_pressed(page, sure[0], 1, -1)  # two: a wrong word, against all three photos
        page.click(f"[data-key='{sure[-1].id}']")  # three: a member taken away that is there
        n = page.evaluate(STORE, "n")
        page.keyboard.press("Delete")
        wait_n(page, n + 1)
        before = load_frame_from(page)

        n = page.evaluate(STORE, "n")
        page.click("#read")
        page.click("dialog button.main")
        solved(page, n + 1)
        again = load_frame_from(page)
        assert places(again)[sure[0].id] == places(before)[sure[0].id] and sure[-1].id not in places(again)
        assert {id: p for id, p in places(again).items() if id in right} == {
            id: p for id, p in places(before).items() if id in right
        }
        assert wrong is None or places(again)[wrong.id] in places(truth).values()
        told = page.evaluate(STORE, "corrections")["conflicts"]
        assert any(sure[0].id in c["members"] for c in told) and any("deleted" in c["text"] for c in told)
        page.click("#tab-doubts")
        page.wait_for_selector("[data-kind=conflict]")
        shot(page, "solved-again")

        page.click("#undo")  # the solving is one change
        wait_n(page, n + 2)
        assert places(load_frame_from(page)) == places(before)
        page.click("#redo")
        wait_n(page, n + 3)
        page.context.close()
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        process, address = served(tmp_path / "build", solver="recon.solve")
        page = opened(address)
        assert places(load_frame_from(page)) == places(again)
        page.click("#away")
        with page.expect_download() as download:
            page.click("#panel .item:has(.strong:text-is('Frame file'))")
        download.value.save_as(tmp_path / "taken.json")
        assert places(load_frame(tmp_path / "taken.json")) == places(again)
        page.context.close()
    finally:
        process.kill()
        process.wait()


def put_right(page, wrong, truth):
    """By the buttons of its ends: as many holes as the true member on its line has more or less at each."""
    (line,) = known_candidates(Constraints(Frame((wrong,))))
    mine = next(s for s in known_candidates(Constraints(truth)) if same_line(s, line))
    true = truth.member(mine.name)
    way = np.array(wrong.direction)
    along = sorted(float((np.array(p) - wrong.first) @ way) for p in (true.first, true.last))
    low, high = -round(along[0]), round(along[1]) - (wrong.holes - 1)
    if high:
        end_pressed(page, wrong, 1, high)
    if low:
        end_pressed(page, replace(wrong, holes=wrong.holes + high), 0, low)
