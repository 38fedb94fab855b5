"""A phone comes in by a QR code and takes photos straight into the build; where it should stand."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from recon.errors import ReconError
from recon.frame.model import End
from tests.webui.browsing import AXE, FAULTS, sample_build, shot, true_frame, until, until_said
from tests.webui.in_page import in_page
from webui.derived.standpoint import looking, next_photo
from webui.network import network_address, qr_rows, qr_text, reachable_host

ADDRESS = "http://192.168.178.20:8174/enter?key=0SxZ3t2Vb8o1-pQ_rT7uVwXyZ0aBcDeF&to=phone"


def decoded(rows):
    """What a camera reads (OpenCV's detector, an implementation of its own)."""
    dark = np.array([[int(v) for v in row] for row in rows])
    picture = np.kron(np.pad(1 - dark, 4, constant_values=1), np.ones((8, 8))).astype(np.uint8) * 255
    return cv2.QRCodeDetector().detectAndDecode(picture)[0]


def test_the_code_on_the_page_and_in_the_terminal_is_read_as_the_address():
    assert decoded(qr_rows(ADDRESS)) == ADDRESS
    halves = {"█": "00", "▀": "01", "▄": "10", " ": "11"}
    lines = [[halves[mark] for mark in line] for line in qr_text(ADDRESS).splitlines()]
    rows = ["".join(pair[half] for pair in line) for line in lines for half in (0, 1)]
    assert decoded(rows) == ADDRESS


def test_the_address_for_others_is_one_that_they_can_open(monkeypatch):
    import socket

    assert reachable_host("192.168.1.20") == "192.168.1.20"
    monkeypatch.setattr(socket.socket, "connect", lambda *_: (_ for _ in ()).throw(OSError("no network")))
    with pytest.raises(ReconError, match="in no network"):
        network_address()


def unsure_frame():
    """The sample's frame with an end of A that no photo showed."""
    frame = true_frame()
    return replace(
        frame,
        members=tuple(
            replace(m, ends=(m.ends[0], End("hidden", 2))) if m.id == "A" else m for m in frame.members
        ),
    )


def test_the_next_photo_is_sketched_from_where_it_shows_what_was_not_seen():
    frame = unsure_frame()
    place = next_photo(frame)
    assert place["members"] == ["A"] and place["words"] and len(place["taken"]) == len(frame.photos)
    camera = looking(np.array(place["eye"]), np.array(place["middle"]))
    assert np.allclose(camera.project([place["middle"]]), 0, atol=1e-6)
    assert (camera.project([np.array(place["middle"]) + (0, 0, 1)])[0][1] < 0).all()  # held upright
    assert np.allclose(camera.project([frame.member("A").last]), place["sketch"]["rings"], atol=15)
    assert next_photo(true_frame()) == {}


def test_without_a_key_a_browser_gets_a_page_that_says_what_to_do(opened, serve, browser, tmp_path):
    serving = serve(tmp_path / "b", key=True)
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.goto(serving.root)
    assert "What to do" in page.inner_text("body") and "{" not in page.inner_text("body")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.goto(f"{serving.root}/enter?key=wrong")
    assert "used already or is not right" in page.inner_text("body")
    assert page.evaluate("fetch('/api/build').then(r => r.json()).then(r => Boolean(r.problem))")
    page.close()


def test_a_phone_comes_in_by_its_key_and_the_computer_shows_its_photos(opened, serve, browser, tmp_path):
    serving = serve(sample_build(tmp_path / "b", unsure_frame()), key=True)
    page = opened(serving.address)
    page.click("#set-up")
    page.click("text=Phone…")
    page.wait_for_selector("dialog .qr")
    address = page.inner_text("dialog .address")
    shot(page, "phone-code")
    page.wait_for_selector("#panel .sketch")
    until(page, in_page("return Boolean(build.stand);"))
    shot(page, "stand")

    device = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, bypass_csp=True
    )
    phone = device.new_page()
    phone.goto(address)
    assert phone.url.endswith("/phone")
    phone.wait_for_selector("body[data-ready]")
    page.wait_for_selector("dialog:not([open])", state="attached")  # the code let one in, and goes
    until_said(page, "A device came in")
    phone.wait_for_selector("#photos li:nth-child(3)")
    phone.wait_for_selector(".sketch circle")
    assert "Not all of A could be seen" in phone.inner_text("#stand-words")
    assert phone.get_attribute("#camera", "capture") == "environment"
    Image.new("RGB", (900, 700), (90, 120, 80)).save(tmp_path / "image.jpg")
    phone.set_input_files("#camera", str(tmp_path / "image.jpg"))
    phone.wait_for_selector("#photos li:has-text('phone')")
    page.wait_for_selector("figure[data-photo^='phone']")
    until_said(page, "came from another device")
    phone.add_script_tag(content=AXE)
    assert phone.evaluate(FAULTS) == []
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    shot(phone, "phone")
    again = browser.new_page()
    again.goto(address)  # the key worked once
    assert "used already" in again.inner_text("body")
    again.close()
    device.close()
