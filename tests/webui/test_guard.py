"""Keeping others out: hosts, origins, tokens, keys, paths, and files that are no photos."""

import io
import socket
import struct
import threading
import zipfile
import zlib

import pytest
from PIL import Image

from recon.errors import ReconError
from tests.corrections.frames import gate
from tests.waiting import patience
from tests.webui.conftest import Asked
from webui.app import close_app, create_app
from webui.guard import LATE_S, WRONG_KEYS, Keys, is_loopback
from webui.serve import open_page
from webui.storage.build import PHOTOS
from webui.storage.photo_store import safe_name


def begun(asked):
    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    return asked


def upload(asked, data: bytes, name: str):
    return asked.post("/api/photos", data=data, X_Photo_Name=name, Content_Type="application/octet-stream")


def photo_bytes(size=(800, 600), **save) -> bytes:
    buffer = io.BytesIO()
    Image.effect_noise(size, 60).convert("RGB").save(buffer, save.pop("format", "JPEG"), **save)
    return buffer.getvalue()


# Who may ask


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8174",
        "127.0.0.1.evil.example",
        "192.168.1.9",
        "localhost.evil.example",
        "[2001:db8::1]:8174",
    ],
)
def test_a_foreign_host_is_refused(asked, host):
    assert asked.client.get("/", headers={"Host": host}).status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1:8174", "localhost:8174", "[::1]:8174"])
def test_this_machine_is_let_in(asked, host):
    assert asked.client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "https://127.0.0.1:8174",
        "http://127.0.0.1:9999",
        "http://127.0.0.1:8174.evil.example",
    ],
)
def test_a_foreign_origin_changes_nothing(asked, origin):
    begun(asked)
    answer = asked.post(
        "/api/edit", json={"base": 1, "ask": {"op": "delete", "members": ["A"]}}, Origin=origin
    )
    assert answer.status_code == 403 and asked.build.n == 1


def test_a_request_that_another_site_caused_is_refused(asked):
    assert asked.get("/api/build", **{"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert asked.get("/api/build", **{"Sec-Fetch-Site": "same-site"}).status_code == 403
    assert asked.get("/api/build", **{"Sec-Fetch-Site": "same-origin"}).status_code == 200


@pytest.mark.parametrize("token", [None, "", "wrong", "\u00e9"])
def test_every_change_needs_the_token(asked, token):
    begun(asked)
    for rule in asked.app.url_map.iter_rules():
        if "POST" in rule.methods:
            answer = asked.post(str(rule).replace("<name>", "x"), json={"base": 1}, X_Build_Token=token)
            assert answer.status_code == 403, str(rule)
    assert asked.build.n == 1


def test_nothing_changes_by_get(asked):
    begun(asked)
    for rule in asked.app.url_map.iter_rules():
        if "GET" in rule.methods and not rule.arguments:
            asked.get(str(rule))
    assert asked.build.n == 1


def test_every_answer_forbids_what_a_browser_may_not_do(asked):
    for path in (
        "/",
        "/api/build",
        "/nothing",
        "/static/main.js",
        "/static/core/dom.js",
        "/api/photos/x/whole.jpg",
    ):
        answer = asked.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "script-src 'self';" in policy and "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert "Access-Control-Allow-Origin" not in answer.headers


def test_the_page_asks_nothing_of_other_machines():
    from tests.webui.conftest import ROOT

    own = [p for p in (ROOT / "webui/static").rglob("*.*") if p.is_file() and "vendor" not in p.parts]
    assert len(own) > 40
    for path in [*own, *(ROOT / "webui/templates").glob("*")]:
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in text and "https://" not in text and "//cdn" not in text, path.name
        assert "innerHTML" not in text and "eval(" not in text and "insertAdjacentHTML" not in text, path.name


@pytest.mark.parametrize(
    "path, kind",
    [
        ("main.js", "text/javascript"),
        ("core/build.js", "text/javascript"),
        ("vendor/three.module.min.js", "text/javascript"),
        ("style/colours.css", "text/css"),
        ("style/mark.svg", "image/svg+xml"),
    ],
)
def test_static_files_come_from_their_folders_and_are_asked_for_again(asked, path, kind):
    answer = asked.get(f"/static/{path}")
    mimetype = answer.mimetype.replace("application/javascript", "text/javascript")  # older Pythons say so
    assert answer.status_code == 200 and mimetype == kind
    assert answer.headers["Cache-Control"] == "no-cache"
    again = asked.get(f"/static/{path}", **{"If-None-Match": answer.headers["ETag"]})
    assert again.status_code == 304 and not again.data
    assert asked.get(f"/static/{path.rpartition('/')[0]}/").status_code == 404


@pytest.mark.parametrize("folder", ["", "core/", "style/", "vendor/", "core/../"])
@pytest.mark.parametrize(
    "path",
    ["../app.py", "../../app.py", "..%2fapp.py", "..%2f..%2fapp.py", "%2e%2e/%2e%2e/app.py", "..\\app.py"],
)
def test_no_path_leaves_the_static_files(asked, folder, path):
    answer = asked.get(f"/static/{folder}{path}")
    assert answer.status_code in (301, 308, 400, 404)
    assert b"flask" not in answer.data.lower()


# Beyond loopback


@pytest.mark.parametrize(
    "host, own",
    [
        ("127.0.0.1", True),
        ("localhost", True),
        ("::1", True),
        ("127.9.9.9", True),
        ("0.0.0.0", False),
        ("192.168.1.4", False),
        ("yard.example", False),
    ],
)
def test_what_is_loopback(host, own):
    assert is_loopback(host) is own


def test_another_interface_needs_a_key(tmp_path):
    with pytest.raises(ReconError, match="add --key"):
        open_page(tmp_path / "b", host="0.0.0.0")
    assert not (tmp_path / "b").exists()


def test_a_key_lets_one_browser_in_once(tmp_path):
    keys, told = Keys(), []
    app = create_app(
        tmp_path / "b", host="192.168.1.4", port=8174, keys=keys, on_enter=lambda: told.append(1)
    )
    base, key = "http://192.168.1.4:8174", keys.new()
    one, two = Asked(app, app.test_client(), base), Asked(app, app.test_client(), base)
    assert one.get("/").status_code == 401 and one.get("/api/build").status_code == 401
    entered = one.get(f"/enter?key={key}")
    assert entered.status_code == 302 and told == [1]
    cookie = entered.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and key not in cookie
    assert one.get("/api/build").status_code == 200
    assert two.get(f"/enter?key={key}").status_code == 401 and two.get("/api/build").status_code == 401
    fresh = one.post("/api/device", json={}).get_json()["address"].split("key=")[1]
    assert two.get(f"/enter?key={fresh}").status_code == 302 and two.get("/api/build").status_code == 200
    close_app(app)


def test_guessing_keys_is_said_and_slow_and_shuts_nobody_out(tmp_path, monkeypatch):
    keys, said, slept = Keys(), [], []
    monkeypatch.setattr("webui.guard.time.sleep", slept.append)
    app = create_app(tmp_path, host="192.168.1.4", port=8174, keys=keys, on_wrong_keys=lambda: said.append(1))
    asked, key = Asked(app, app.test_client(), "http://192.168.1.4:8174"), keys.new()
    for k in range(WRONG_KEYS + 5):
        assert asked.get(f"/enter?key=guess{k}").status_code == 401
    assert said == [1] and slept == [LATE_S] * 5
    assert asked.get(f"/enter?key={key}").status_code == 302 and asked.get("/api/build").status_code == 200
    close_app(app)


def test_a_program_that_only_looks_does_not_use_the_key_up(tmp_path):
    keys = Keys()
    app = create_app(tmp_path, host="192.168.1.4", port=8174, keys=keys)
    asked, key = Asked(app, app.test_client(), "http://192.168.1.4:8174"), keys.new()
    assert asked.client.head(f"/enter?key={key}", base_url=asked.base).status_code == 200
    assert asked.get("/api/build").status_code == 401
    assert asked.get(f"/enter?key={key}").status_code == 302
    assert asked.get(f"/enter?key={key}").status_code == 302  # the same browser, which has its pass
    assert asked.get("/api/build").status_code == 200
    close_app(app)


def test_two_builds_on_one_host_do_not_throw_each_others_browsers_out(tmp_path):
    keys = Keys(), Keys()
    apps = [create_app(tmp_path / str(k), host="192.168.1.4", port=8174 + k, keys=keys[k]) for k in range(2)]
    cookies = [
        app.test_client()
        .get(f"/enter?key={of.new()}", base_url=f"http://192.168.1.4:{8174 + k}")
        .headers["Set-Cookie"]
        for k, (app, of) in enumerate(zip(apps, keys))
    ]
    assert len({cookie.split("=")[0] for cookie in cookies}) == 2
    for app in apps:
        close_app(app)


def test_a_person_without_a_pass_reads_a_sentence(tmp_path):
    app = create_app(tmp_path, host="192.168.1.4", port=8174, keys=Keys())
    asked = Asked(app, app.test_client(), "http://192.168.1.4:8174")
    page = asked.get("/", Accept="text/html,application/xhtml+xml,*/*;q=0.8")
    assert page.status_code == 401 and page.mimetype == "text/html" and "Open the address" in page.text
    assert "problem" in asked.get("/api/build").get_json()
    close_app(app)


def test_a_head_that_drips_ends_its_connection(tmp_path, monkeypatch):
    monkeypatch.setattr("webui.serve.HEAD_S", 0.2)
    page = open_page(tmp_path)
    serving = threading.Thread(target=page.serve)
    serving.start()
    try:
        with socket.create_connection(page.server.server_address, timeout=patience()) as drip:
            drip.sendall(b"GET / HTTP/1.1\r\nHost: local")
            assert drip.recv(1) == b""  # it ended there
    finally:
        page.stop()
        serving.join()
        page.close()


@pytest.mark.parametrize("text", ["[" * 20_000 + "]" * 20_000, '{"base": 0, "ask": {"op": "\\ud800"}}'])
def test_json_that_means_harm_is_a_sentence(asked, text):
    answer = asked.client.post(
        "/api/edit",
        base_url=asked.base,
        data=text,
        headers={"X-Build-Token": asked.token, "Origin": asked.base, "Content-Type": "application/json"},
    )
    assert answer.status_code == 422 and "not a JSON object" in answer.get_json()["problem"]


# Paths

TRAVERSALS = [
    "../build.journal",
    "..%2fbuild.journal",
    "%2e%2e/build.journal",
    "....//build.journal",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "..\\build.journal",
    "..%5cbuild.journal",
    "a%00.jpg",
    "photo_1.jpg/../../build.journal",
    "%252e%252e%252fbuild.journal",
]


@pytest.mark.parametrize("path", TRAVERSALS)
def test_no_path_leaves_the_build(asked, path):
    begun(asked)
    for start in (
        "/api/photos/{}/whole.jpg",
        "/api/photos/{}/found",
        "/api/photos/{}/tile/0/0_0.jpg",
        "/static/{}",
        "/api/shapes/{}",
        "/api/papers/{}",
        "/{}",
    ):
        answer = asked.get(start.format(path))
        assert answer.status_code in (301, 308, 400, 404, 405), (start, path)
        assert b"frame-build" not in answer.data and b"root:" not in answer.data


def test_a_link_in_the_photos_folder_is_no_photo(asked, tmp_path):
    (tmp_path / "secret.jpg").write_bytes(photo_bytes())
    (asked.build.folder / PHOTOS / "link.jpg").symlink_to(tmp_path / "secret.jpg")
    assert asked.get("/api/photos/link.jpg/whole.jpg").status_code == 404


@pytest.mark.parametrize(
    "name, safe",
    [
        ("../../etc/passwd", "passwd.jpg"),
        ("..\\..\\boot.ini", "boot.jpg"),
        ("<img src=x onerror=alert(1)>.jpg", "_img src_x onerror_alert(1)_.jpg"),
        (".htaccess", "htaccess.jpg"),
        ("", "photo.jpg"),
        ("a" * 400 + ".png", "a" * 60 + ".png"),
        ("con\x00trol\n.heic", "con_trol_.heic"),
        ("frame.html", "frame.jpg"),
    ],
)
def test_names_of_uploads_are_made_harmless(name, safe):
    assert safe_name(name) == safe


# Files that are no photos


def png_that_says_it_is_large(side: int) -> bytes:
    """A PNG of a few bytes whose header tells of side x side pixels."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0))
        + chunk(b"IDAT", zlib.compress(b"\0" * 10_000))
        + chunk(b"IEND", b"")
    )


def test_what_is_no_photo_is_refused_and_not_kept(asked):
    files = {
        "page.jpg": b"<!doctype html><script>alert(document.cookie)</script>",
        "vector.png": b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        "empty.jpg": b"",
        "cut.jpg": photo_bytes()[:4000],
        "bomb.png": png_that_says_it_is_large(60_000),
        "long.png": png_that_says_it_is_large(2**31 - 1),
        "small.png": photo_bytes((40, 40), format="PNG"),
        "noise.heic": b"\x00\x00\x00\x18ftypheic" + b"\xff" * 500,
    }
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as z:
        z.writestr("a.jpg", photo_bytes())
    files["archive.jpg"] = archive.getvalue()
    for name, data in files.items():
        answer = upload(asked, data, name)
        assert answer.status_code == 422, name
        words = answer.get_json()["problem"]
        assert name in words and "Traceback" not in words and str(asked.build.folder) not in words, words
    assert (
        list((asked.build.folder / PHOTOS).iterdir()) == []
        and asked.get("/api/build").get_json()["photos"] == []
    )


def test_a_photo_is_kept_under_a_harmless_name_and_shown_as_a_picture(asked):
    told = upload(asked, photo_bytes(), "%3Cb%3E..%2Fhull side.JPG").get_json()
    assert told == {"name": "hull side.jpg", "size": [800, 600]}
    answer = asked.get("/api/photos/hull side.jpg/whole.jpg")
    assert answer.mimetype == "image/jpeg" and answer.data[:3] == b"\xff\xd8\xff"
    assert upload(asked, photo_bytes(), "hull side.jpg").get_json()["name"] == "hull side (2).jpg"


def test_the_same_photo_twice_is_told(asked):
    data = photo_bytes()
    upload(asked, data, "a.jpg")
    answer = upload(asked, data, "b.jpg")
    assert answer.status_code == 422 and "here already, as a.jpg" in answer.get_json()["problem"]


def test_too_many_bytes_are_refused_before_they_are_read(asked):
    assert asked.post(
        "/api/photos", data=b"x", X_Photo_Name="a.jpg", Content_Length=str(2**33)
    ).status_code in (413, 422)


def test_a_change_as_large_as_a_photo_is_refused(asked):
    begun(asked)
    assert (
        asked.post(
            "/api/edit",
            data=b'{"base":1,"ask":{"op":"name","name":"' + b"x" * 3 * 2**20 + b'"}}',
            Content_Type="application/json",
        ).status_code
        == 422
    )


def test_an_html_plan_is_refused(asked):
    answer = asked.post("/api/plan", data=b"<html><script>alert(1)</script>", Content_Type="application/json")
    assert answer.status_code == 422 and not (asked.build.folder / "plan.json").exists()


# What goes out


def test_script_in_names_comes_out_as_text(asked):
    begun(asked)
    asked.edit(op="name", name="</script><script>alert(1)</script>")
    page = asked.get("/").get_data(as_text=True)
    assert "alert(1)" not in page
    assert asked.get("/api/build").mimetype == "application/json"


def test_papers_are_saved_and_never_shown_in_the_page(asked):
    begun(asked)
    asked.edit(op="name", name="<script>alert(1)</script>")
    for id in ("frame", "summary", "parts", "parts-sheet", "cut-sheet", "views", "papers-html"):
        answer = asked.get(f"/api/papers/{id}")
        assert answer.status_code == 200 and answer.headers["Content-Disposition"].startswith(
            "attachment; filename="
        ), id
        if id in ("parts-sheet", "cut-sheet", "views", "papers-html"):
            assert b"<script>alert" not in answer.data


def test_a_fault_is_told_without_its_insides(asked, monkeypatch):
    from webui.processes.derived import DerivedWorker

    begun(asked)
    monkeypatch.setattr(DerivedWorker, "of", lambda *a: 1 / 0)
    asked.app.logger.disabled = True
    answer = asked.get("/api/effects?what=parts")
    assert (
        answer.status_code == 500
        and "Nothing was lost" in answer.get_json()["problem"]
        and "division" not in answer.get_data(as_text=True)
    )
