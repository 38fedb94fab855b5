"""Two tabs or devices at one build: what differs in words, and what becomes of either's change."""

import json

import pytest

from recon.corrections.state import patched
from tests.corrections.frames import gate
from tests.webui.browsing import (
    AXE,
    FAULTS,
    sample_build,
    shot,
    until,
    until_said,
    wait_n,
)
from tests.webui.conftest import Shared
from tests.webui.in_page import in_page

HOLES_OF_A_ARE = in_page("return build.members.get('A').holes === holes;", "holes")

# The answer of the page


def conflicting(asked, theirs, mine):
    """A build with `theirs` done, and the answer to `mine` from a page that has not heard of it."""
    asked.build.change(lambda _: (gate(), "made"))
    for ask in theirs:
        assert asked.edit(**ask).status_code == 200
    answer = asked.post("/api/edit", json={"base": 1, "ask": mine})
    assert answer.status_code == 409 and asked.build.n == 1 + len(theirs)
    return answer.get_json()


def test_the_outcome_on_top_is_told_where_both_changed_one_member(asked):
    told = conflicting(
        asked,
        [{"op": "end", "member": "A", "end": 1, "by": 1}],
        {"op": "end", "member": "A", "end": 1, "by": 1},
    )
    assert told["there"] == ["A: 12 holes → 13"] and told["mine"] == "A: 12 holes → 13"
    assert (
        told["both"] == ["A: 12 holes → 13 there, 12 holes → 13 here"]
        and told["on_top"] == "A: 13 holes → 14"
        and told["can_replace"]
    )


def test_what_cannot_be_done_on_top_is_told_with_its_reason(asked):
    told = conflicting(
        asked, [{"op": "delete", "members": ["A"]}], {"op": "end", "member": "A", "end": 1, "by": 1}
    )
    assert told["on_top"] is None and "no member 'A'" in told["why_not"] and told["can_replace"]
    assert told["both"] == ["A: deleted there, 12 holes → 13 here"]


def test_mine_takes_the_place_of_theirs_as_a_change_that_can_be_undone(asked):
    conflicting(
        asked,
        [{"op": "delete", "members": ["A"]}, {"op": "name", "name": "Other"}],
        {"op": "end", "member": "B", "end": 1, "by": 1},
    )
    theirs = asked.build.state
    answer = asked.post(
        "/api/edit",
        json={"base": 3, "instead_from": 1, "ask": {"op": "end", "member": "B", "end": 1, "by": 1}},
    )
    assert (
        answer.status_code == 200
        and answer.get_json()["words"] == "B: 12 holes → 13, in place of what was done elsewhere"
    )
    frame = asked.build.state.frame
    assert frame.name == "Gate" and frame.member("A").holes == 12 and frame.member("B").holes == 13
    assert patched(theirs, json.loads(json.dumps(answer.get_json()["delta"]))) == asked.build.state
    assert asked.post("/api/undo", json={"base": 4}).status_code == 200
    assert asked.build.state == theirs


def test_a_version_of_later_or_of_nowhere_is_refused(asked):
    asked.build.change(lambda _: (gate(), "made"))
    for older in (2, -1, "1", 1.5):
        answer = asked.post(
            "/api/edit", json={"base": 1, "instead_from": older, "ask": {"op": "name", "name": "x"}}
        )
        assert answer.status_code == 422 and asked.build.n == 1
    stale = asked.post("/api/edit", json={"base": 0, "instead_from": 0, "ask": {"op": "name", "name": "x"}})
    assert stale.status_code == 409  # theirs went on meanwhile: asked again, nothing is overrun


def test_an_undo_that_would_hit_theirs_is_not_made(asked):
    asked.build.change(lambda _: (gate(), "made"))
    asked.edit(op="name", name="theirs")
    answer = asked.post("/api/undo", json={"base": 1})
    told = answer.get_json()
    assert answer.status_code == 409 and told["there"] == ["Name: theirs"] and "theirs now" in told["mine"]
    assert told["on_top"] is None and not told["can_replace"] and asked.build.state.frame.name == "theirs"


# Two browsers

MORE, LESS = (
    "[aria-label^='One hole more at hole 1'] >> nth=0",
    "[aria-label^='One hole less at hole 1'] >> nth=0",
)


def deaf(route):
    """The page is told that nothing has changed."""
    answer = route.fetch()
    route.fulfill(json={**answer.json(), "n": 0})


@pytest.fixture(scope="module")
def shared(opened_once, serve_once, tmp_path_factory):
    serving = serve_once(sample_build(tmp_path_factory.mktemp("conflict") / "b"))
    one = Shared(opened_once, serving, (1440, 900), bypass_csp=True)
    two = Shared(opened_once, serving, (360, 740), "dark", bypass_csp=True)
    yield one, two
    two.page.unroute_all(behavior="ignoreErrors")  # an answer may be on its way as the page closes


@pytest.fixture
def two(shared):
    """Two pages of one build, in two browsers; the second does not hear of the first by itself."""
    one, build = shared[0].back()
    second = shared[1].page
    second.unroute_all(behavior="ignoreErrors")  # but it hears that the frame is as it was
    shared[1].back()
    second.route("**/api/pulse", deaf)
    for page in (one, second):
        page.evaluate(in_page("choose([]);"))
        page.click("#tab-members")
    return one, second, build


def both_lengthen_a(one, two, build):
    n = build.n
    one.click("[data-key=A]")
    two.click("[data-key=A]")
    for k in range(2):
        one.click(MORE)
        wait_n(one, n + 1 + k)
    two.click(LESS)
    two.wait_for_selector("dialog[open]")
    assert build.n == n + 2
    return n


@pytest.mark.parametrize(
    "answer, holes, words",
    [
        ("Do mine on top of theirs", 9, "A: 10 holes → 9"),
        ("Use mine in place of theirs", 7, "in place of"),
        ("Keep theirs, leave mine", 10, None),
    ],
)
def test_the_one_who_comes_second_takes_either_or_puts_his_on_top(two, answer, holes, words):
    one, second, build = two
    n = both_lengthen_a(one, second, build)
    text = second.inner_text("dialog")
    assert "Done there" in text and "A: 8 holes → 10" in text and "A: 8 holes → 7" in text
    assert (
        "A: 8 holes → 10 there, 8 holes → 7 here" in text
        and "On top of theirs, yours comes to: A: 10 holes → 9." in text
    )
    if holes == 9:
        shot(second, "conflict-360-dark")
        second.add_script_tag(content=AXE)
        assert second.evaluate(FAULTS) == []
        assert second.evaluate("document.documentElement.scrollWidth") <= 360
    second.click(f"dialog >> text={answer}")
    wait_n(second, n + (3 if words else 2))
    until(second, HOLES_OF_A_ARE, holes)
    assert build.state.frame.member("A").holes == holes
    if words:
        until(one, HOLES_OF_A_ARE, holes)
        until_said(one, words)


def test_escape_keeps_theirs_and_nothing_is_sent(two):
    one, second, build = two
    n = both_lengthen_a(one, second, build)
    second.keyboard.press("Escape")
    until(second, HOLES_OF_A_ARE, 10)
    assert build.n == n + 2


def test_a_third_change_while_the_question_stands_asks_again(two):
    one, second, build = two
    n = both_lengthen_a(one, second, build)
    one.click(MORE)
    wait_n(one, n + 3)
    second.click("dialog >> text=Use mine in place of theirs")
    second.wait_for_selector("dialog[open] >> text=A: 8 holes → 11")
    assert build.n == n + 3
    second.click("dialog >> text=Use mine in place of theirs")
    wait_n(second, n + 4)
    assert build.state.frame.member("A").holes == 7


def test_undo_in_one_never_takes_back_what_the_other_did(two):
    one, second, build = two
    n = build.n
    for page in (one, second):
        page.click("[data-key=A]")
    second.click(MORE)
    wait_n(one, n + 1)
    one.click(MORE)
    wait_n(one, n + 2)
    second.click("#undo")
    second.wait_for_selector("dialog[open]")
    assert "theirs now" in second.inner_text("dialog") and second.locator("dialog button").count() == 1
    second.click("dialog button")
    wait_n(second, n + 2)
    assert build.n == n + 2 and build.state.frame.member("A").holes == 10
