"""A command that is stopped ends while a library is at work, and leaves nothing behind."""

import os
import signal
import subprocess
import sys

import pytest

from tests.show.scenes import save_photos
from tests.waiting import patience

# A step of a library that hears no signal, as the decoding of a large photo, and takes many minutes.
SLOW_STEP = """
import hashlib, os, sys
import {module} as module
def slow(*args, **options):
    os.write(1, b"at work\\n")  # whole lines, from two threads at once
    hashlib.pbkdf2_hmac("sha256", b"", b"", 2**31 - 1)
module.{function} = slow
from recon.cli import run_process
sys.argv = ["recon", "read", "photos", "-o", "out", "--debug", "stages"]
run_process()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends a process no such signals")
@pytest.mark.parametrize(
    "module, function, number",
    [
        ("recon.image.photos", "load_photos", signal.SIGINT),
        ("recon.solve.each_photo", "read_openings", signal.SIGINT),
        ("recon.solve.each_photo", "read_openings", signal.SIGTERM),
    ],
    ids=["loading, Ctrl-C", "reading, Ctrl-C", "reading, SIGTERM"],
)
def test_a_reading_that_is_stopped_ends_and_leaves_nothing(tmp_path, module, function, number):
    save_photos(tmp_path / "photos")
    process = subprocess.Popen(
        [sys.executable, "-c", SLOW_STEP.format(module=module, function=function)],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": os.getcwd()},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # whatever the tests were begun by
    )
    assert process.stdout.readline() == "at work\n"
    process.send_signal(number)
    _, said = process.communicate(timeout=patience())  # of the many minutes
    assert process.returncode == 130 and said == "Stopped. Nothing more was written.\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["photos"]


def test_help_loads_nothing_that_only_work_needs():
    code = "import sys; from recon.cli import main; main(['--help']); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert "recon" in loaded and "usage" in done.stdout
    heavy = {"numpy", "cv2", "scipy", "PIL", "matplotlib", "flask", "jsonschema", "reportlab", "networkx"}
    assert not loaded & (heavy | {"subprocess", "concurrent", "multiprocessing"})
