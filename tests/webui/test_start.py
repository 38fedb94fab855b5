"""`recon page` without a folder: builds that were opened last, and a new one; the browser is opened."""

import pytest

from recon import cli
from tests.webui.browsing import AXE, FAULTS, shot
from webui.serve import open_page
from webui.storage.recent import recent_builds, remember


@pytest.fixture(autouse=True)
def own_settings(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))


def build_in(folder):
    page = open_page(folder, say=lambda text: None)
    page.close()
    return folder


def test_builds_are_remembered_newest_first_while_they_are_there(tmp_path):
    assert recent_builds() == []
    one, two = build_in(tmp_path / "one"), build_in(tmp_path / "two")
    assert [b.folder for b in recent_builds()] == [two, one]
    remember(one)
    assert [b.folder for b in recent_builds()] == [one, two]
    (two / "build.journal").unlink()
    assert [b.folder for b in recent_builds()] == [one]


def test_settings_that_cannot_be_read_or_written_stop_nothing(tmp_path):
    (tmp_path / "settings").write_text("a file where the folder should be")
    build_in(tmp_path / "one")
    assert recent_builds() == []


def test_without_a_folder_the_page_asks_which_build(browser, serve, tmp_path, monkeypatch):
    build_in(tmp_path / "gate-1")
    monkeypatch.chdir(tmp_path)
    serving = serve(None)
    context = browser.new_context(bypass_csp=True, viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.goto(serving.address)
    assert str(tmp_path / "gate-1") in page.inner_text("body") and str(tmp_path) in page.inner_text("#new")
    page.add_script_tag(content=AXE)
    assert page.evaluate(FAULTS) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    shot(page, "start")
    page.fill("#name", "gate-1")
    page.click("text=Begin")
    page.wait_for_selector("text=is there already: choose another name")
    page.fill("#name", "../gate")
    page.click("text=Begin")
    page.wait_for_selector("text=a name of letters")
    page.click("[data-folder]")
    page.wait_for_selector("body[data-ready]")
    assert serving.folder == tmp_path / "gate-1" and page.title() == "gate-1"
    page.click("#set-up")
    assert str(tmp_path / "gate-1") in page.inner_text("#panel")
    context.close()


@pytest.mark.parametrize("arguments, opened", [([], 1), (["--no-browser"], 0)])
def test_the_browser_is_opened_unless_it_is_not_wanted(monkeypatch, tmp_path, capsys, arguments, opened):
    import webbrowser

    from webui.serve import Page

    asked = []
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(webbrowser, "open", lambda address: asked.append(address) or True)
    monkeypatch.setattr(Page, "serve", lambda self: None)
    assert cli.main(["page", str(tmp_path / "b"), "--port", "0", *arguments]) == 0
    out, err = capsys.readouterr()
    assert len(asked) == opened and all(address in out for address in asked)
    assert str(tmp_path / "b") in err and ("open in your browser" in err) == bool(opened)
