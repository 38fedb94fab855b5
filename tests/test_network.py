"""Nothing leaves the machine: no command, and no process of the page, looks up or connects to another one."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from recon.frame.files import frame_to_text
from tests.dependencies import PRODUCT, rows
from tests.workshop.trestles import trestle

ROOT = Path(__file__).parents[1]

# Python runs this at the start of every process (module `site`); what it hooks are the interpreter's own
# audit events (PEP 578), which nothing in Python gets round.
WATCH = """
import os, sys
LOCAL = ("127.", "::1", "localhost", "0.0.0.0")
def watch(event, args):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        host = args[1][0] if isinstance(args[1], tuple) else None  # a name of a file is local
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        host = args[0]
    else:
        return
    if isinstance(host, bytes):
        host = host.decode()
    if host and not str(host).startswith(LOCAL):
        with open(os.environ["WATCHED"], "a") as file:
            file.write(f"{event} {host}\\n")
sys.addaudithook(watch)
"""

USE = """
import json, threading, urllib.request
from recon.cli import main
codes = [main(command) for command in (
    ["parts", "f.json", "-o", "out"], ["cut", "f.json", "--buy", "2438"], ["check", "f.json"],
    ["steps", "f.json"],
    ["papers", "f.json", "-o", "papers"], ["export", "f.json", "-o", "f.glb"], ["audit", "f.json", "f.json"],
    ["read", "photo.jpg", "-o", "read"], ["stocks"],
)]
from webui.serve import open_page
page = open_page("build")
serving = threading.Thread(target=page.serve)
serving.start()
def get(path, data=None, **headers):
    request = urllib.request.Request(page.address + path, data, headers)
    return urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request).read()
token = page.app.extensions["app_context"].token
get("")
photo = {"X-Build-Token": token, "X-Photo-Name": "p.jpg", "Content-Type": "application/octet-stream"}
get("api/photos", open("photo.jpg", "rb").read(), **photo)
for path in ("build", "pulse", "effects?what=parts", "effects?what=checks", "photos/p.jpg/whole.jpg"):
    get("api/" + path)
page.stop(), serving.join(), page.close()
print(json.dumps(codes))
"""


def used(folder, code):
    (folder / "site").mkdir()
    (folder / "site" / "sitecustomize.py").write_text(WATCH)
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(folder / "site"), str(ROOT)]),
        "WATCHED": str(folder / "watched"),
    }
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, env=environment, capture_output=True, text=True
    )
    path = folder / "watched"
    return done, path.read_text() if path.exists() else ""


def test_no_command_and_no_page_reaches_another_machine(tmp_path):
    from PIL import Image

    (tmp_path / "f.json").write_text(frame_to_text(trestle()))
    Image.new("RGB", (400, 320), "grey").save(tmp_path / "photo.jpg")
    done, reached = used(tmp_path, USE)
    assert reached == ""
    codes = json.loads(done.stdout.splitlines()[-1])
    assert 3 not in codes and done.returncode == 0, done.stderr  # no fault ended a command before its end


CONNECTING = """
import os, sys
os.spawnl(os.P_WAIT, sys.executable, "python", "-c", "import socket\\n"
    "socket.socket(type=socket.SOCK_DGRAM).connect(('192.0.2.1', 9))")
"""


@pytest.mark.parametrize(
    "code",
    [
        "import socket; socket.getaddrinfo('recon.invalid', 80)",
        "import socket; socket.socket(type=socket.SOCK_DGRAM).sendto(b'', ('192.0.2.1', 9))",
        CONNECTING,
    ],
    ids=["lookup", "send", "in another process"],
)
def test_the_watch_sees_what_would_reach_one(tmp_path, code):
    _, reached = used(tmp_path, code)  # addresses for documentation (RFC 5737, RFC 2606)
    assert "recon.invalid" in reached or "192.0.2.1" in reached


def test_every_package_that_is_needed_has_a_permissive_licence():
    found = list(rows())
    if not found:
        pytest.skip(f"{PRODUCT} is not installed as a package")
    assert [row for row in found if not row[3]] == []
