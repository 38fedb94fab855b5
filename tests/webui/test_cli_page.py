"""`recon page` from the terminal."""

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request

import pytest

from recon import cli
from tests.waiting import patience
from tests.webui.conftest import ROOT
from webui.storage.journal import NAME, line_of


def test_the_page_answers_until_ctrl_c_and_the_build_is_there_after_it(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "recon", "page", str(tmp_path / "slip"), "--port", "0", "--no-browser"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
    )
    address = process.stdout.readline().strip()
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/", address)
    assert b"build-token" in urllib.request.urlopen(address).read()
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=patience())
    assert process.returncode == 0 and "everything is kept" in err and "Traceback" not in err
    assert (tmp_path / "slip" / NAME).is_file()


@pytest.mark.parametrize(
    "arguments, words", [(["--host", "0.0.0.0"], "add --key"), (["--port", "70000"], "a port is 0 to 65535")]
)
def test_what_cannot_be_is_told_in_a_sentence(tmp_path, capsys, arguments, words):
    assert cli.main(["page", str(tmp_path / "b"), *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_taken_port_is_told(tmp_path, capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        assert cli.main(["page", str(tmp_path / "b"), "--port", str(taken.getsockname()[1])]) == 2
    assert "choose another --port" in capsys.readouterr().err


def test_a_newer_build_is_refused_in_words(tmp_path, capsys):
    (tmp_path / NAME).write_bytes(line_of({"format": "frame-build", "version": 99}))
    assert cli.main(["page", str(tmp_path), "--port", "0"]) == 2
    assert "newer program" in capsys.readouterr().err


def test_a_file_in_place_of_the_folder_is_told(tmp_path, capsys):
    (tmp_path / "b").write_text("x")
    assert cli.main(["page", str(tmp_path / "b"), "--port", "0"]) == 2
    assert "cannot be written" in capsys.readouterr().err
