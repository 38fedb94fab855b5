"""Putting a frame together at the bench: on the computer, by a phone beside it, and on where one stopped."""

import re

from PIL import Image

from recon.corrections.edits import edit
from tests.webui.browsing import AXE, FAULTS, sample_build, shot, true_frame

SCROLL = "document.documentElement.scrollWidth"
# Targets for fingers: WCAG 2.2, 2.5.8, asks for 24 px; the page means its own to be at least 44.
SMALL = """[...document.querySelectorAll('button, .ticks label, summary')].filter(e => e.checkVisibility())
  .map(e => [e.textContent, e.getBoundingClientRect().height]).filter(([, high]) => high < 44)"""


def test_a_frame_is_put_together_step_by_step_on_two_devices(opened, serve, browser, tmp_path):
    serving = serve(sample_build(tmp_path / "b", true_frame()), key=True)
    page = opened(serving.address)
    page.click("#assemble")
    page.wait_for_selector("body.assemble[data-ready]")
    page.wait_for_selector("#title:has-text('Step 1 of 9')")
    count = len(page.query_selector_all(".ticks input"))
    page.wait_for_function("() => document.querySelector('.picture')?.naturalWidth > 0")
    shot(page, "assemble")

    page.keyboard.press("1")  # by keys: the first item, then the whole step, which goes on to the next
    page.wait_for_selector(".ticks li:first-child input:checked, .ticks label:first-child input:checked")
    assert page.query_selector(".ticks input").is_checked() and count > 2
    page.keyboard.press("d")
    page.wait_for_selector("#title:has-text('Step 2 of 9')")
    assert "1 of 8 bolts in" in page.inner_text("#words")
    page.keyboard.press("ArrowLeft")
    page.wait_for_selector("#done:has-text('✓ Done')")
    page.keyboard.press("u")
    page.wait_for_selector("#done:has-text('Step done')")  # what was done is taken back
    page.keyboard.press("d")
    page.wait_for_selector("#title:has-text('Step 2 of 9')")

    # A phone comes in by its key and goes on at the same step.
    device = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, bypass_csp=True
    )
    phone = device.new_page()
    phone.goto(serving.phone_address())
    phone.wait_for_selector("body[data-ready]")
    phone.click("text=Put it together, step by step")
    phone.wait_for_selector("body.assemble[data-ready]")
    phone.wait_for_selector("#title:has-text('Step 2 of 9')")
    assert phone.evaluate(SCROLL) <= 360 and phone.evaluate(SMALL) == []
    bolt = phone.locator("section[aria-label=Bolts] .ticks label").first
    assert re.search(r"hole \d+ of \w+ on hole \d+ of \w+\s+head .+, 5/16", bolt.inner_text())
    bolt.tap()
    phone.wait_for_selector("#done:has-text('✓ Done')")  # with its bolt the member is in
    page.wait_for_selector("#words:has-text('2 of 8 bolts in')")

    phone.fill("textarea", "Ream hole 1,\nit is tight")
    phone.tap("text=Keep the note")
    phone.wait_for_selector(".note:has-text('it is tight')")
    assert phone.get_attribute("input[capture]", "capture") == "environment"
    Image.new("RGB", (900, 700), (90, 120, 80)).save(tmp_path / "image.jpg")
    phone.set_input_files("input[capture]", str(tmp_path / "image.jpg"))
    phone.wait_for_selector(".photos img")
    page.wait_for_selector(".photos img")
    phone.add_script_tag(content=AXE)
    assert phone.evaluate(FAULTS) == []
    phone.emulate_media(color_scheme="dark")
    assert phone.evaluate(FAULTS) == [] and phone.evaluate(SCROLL) <= 360
    shot(phone, "assemble-phone")
    device.close()

    page.click("text=Turn it in 3-D")
    page.wait_for_function("() => document.getElementById('space')?.width > 300")
    assert page.inner_text("#space-words") == "Up to step 2 of 9"
    shot(page, "assemble-space")
    page.click("text=Back to step 2")
    page.wait_for_selector("#title:has-text('Step 2 of 9')")

    # The frame is changed meanwhile: what is in stays ticked, and what is another now is named.
    member = page.inner_text("section[aria-label=Members] .tag")
    build = serving.app.extensions["app_context"].build
    build.change(lambda state: edit(state, {"op": "end", "member": member, "end": 1, "by": 1}))
    page.wait_for_selector(f"#changed:has-text('{member} went in with')")
    page.click("#changed button:has-text('It is in as it is now')")
    page.wait_for_selector("#changed:empty", state="attached")
    page.wait_for_selector("#words:has-text('2 of 8 bolts in')")

    # Loaded again, it goes on at the step after the last tick; the papers have the note and the photo.
    page.goto(f"{serving.root}/assemble")
    page.wait_for_selector("body[data-ready]")
    page.wait_for_selector("#title:has-text('Step 3 of 9')")
    html = page.evaluate("fetch('/api/papers/papers-html').then(r => r.text())")
    assert "Ream hole 1," in html and html.count("data:image/jpeg") == 4
