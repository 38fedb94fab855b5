"""Limits that a process sets on itself."""

import os
import subprocess
import sys

import pytest

from recon.limits import one_thread_of_algebra

NAME = "OPENBLAS_NUM_THREADS"


def test_algebra_keeps_to_one_thread_unless_the_user_says_otherwise(monkeypatch):
    monkeypatch.setenv(NAME, "3")
    one_thread_of_algebra()
    assert os.environ[NAME] == "3"
    monkeypatch.delenv(NAME)
    one_thread_of_algebra()
    assert os.environ[NAME] == "1"


@pytest.mark.parametrize("module", ["recon.cli.read", "webui.processes.reading_worker"])
def test_what_reads_says_so_before_the_library_is_loaded(module):
    code = f"import sys, {module}; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
