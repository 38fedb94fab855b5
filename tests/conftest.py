"""Settings for property tests, the same everywhere and without a clock; one thread for each library; no
settings of the user's; and no process that outlives the tests."""

import gc
import os

# Before any test imports NumPy or OpenCV, and for the processes that tests begin: tests run side by side, and
# threads of libraries would only get in each other's way.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OPENCV_FOR_THREADS_NUM", "1")

import signal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.waiting import until

# Python's search for cycles goes through all that pytest and the tests hold, again and again: 7 of 51 s of
# the tests of papers and steps, and 2.5 of 11 of collecting.  So seldom it takes 0.3 s of these; what is in
# cycles is held a little longer.
gc.set_threshold(10_000, 20, 10)

settings.register_profile(
    "project", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("project")

MOST_PROCESSES = 6  # more would wait for the longest file; this project's choice
# Files that share readings (tests/solve/sample_readings.py) run in one process, and begin first of all.
READINGS = ("tests/solve/priors/", "tests/solve/test_sample_frames.py")
# Rooms with the longest tests; they begin next, so that no long one is left for the end.
LONGEST = ("tests/solve/", "tests/webui/")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config):
    """The whole suite runs in as many processes as there are cores, unless `-n` says how many; what is named
    on the command line runs in one."""
    if not config.pluginmanager.hasplugin("xdist") or hasattr(config, "workerinput"):
        return
    whole = config.args_source is config.ArgsSource.TESTPATHS
    if whole and config.option.numprocesses is None and not config.option.usepdb:
        config.option.numprocesses = min(os.cpu_count() or 1, MOST_PROCESSES)
    if config.option.numprocesses and config.option.dist == "no":
        config.option.dist = "loadfile"
        config.option.loadscopereorder = False


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Tests of a file run in one process, for they share what takes long to make."""
    from xdist.scheduler import LoadFileScheduling

    class ByFile(LoadFileScheduling):
        def _split_scope(self, nodeid):
            return "readings" if nodeid.startswith(READINGS) else super()._split_scope(nodeid)

    return ByFile(config, log) if config.option.dist == "loadfile" else None


def pytest_collection_modifyitems(items):
    """What takes longest begins first."""
    items.sort(key=lambda item: (not item.nodeid.startswith(READINGS), not item.nodeid.startswith(LONGEST)))


@pytest.fixture(scope="session", autouse=True)
def settings_of_nobody(tmp_path_factory):
    """The user's settings lie in an empty folder while tests run."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CONFIG_HOME", "APPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("settings")))
        yield os.environ["XDG_CONFIG_HOME"]


@pytest.fixture(scope="session", autouse=True)
def nothing_runs_on(settings_of_nobody):
    """What tests begin has ended when they end: workers, pages, browsers, and what those began (on Linux)."""
    yield
    try:
        until(lambda: not _begun_here(settings_of_nobody), "the end of what tests began")
    finally:
        for process in _begun_here(settings_of_nobody):
            os.kill(process, signal.SIGKILL)


def _begun_here(mark: str) -> list[int]:
    """The other processes whose environment holds `mark`."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if process.name != str(os.getpid()) and os.fsencode(mark) in (process / "environ").read_bytes():
                found.append(int(process.name))
        except OSError:  # it ended just now, or is another user's
            pass
    return found
