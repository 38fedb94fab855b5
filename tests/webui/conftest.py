"""A page that runs, for tests: opened on a folder, asked like a browser asks."""

import threading
from contextlib import contextmanager
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest

from tests.waiting import patience
from tests.webui.browsing import (
    ARGUMENTS,
    CHROMIUM,
    ROOT,  # noqa: F401 (for other tests, as SAMPLE)
    SAMPLE,  # noqa: F401
    build_of,
    sample_build,
    wait_n,
)
from tests.webui.forked import CAN_FORK, ForkServers
from webui.serve import open_page


@dataclass
class Asked:
    """A page and a client of it (flask's, without a network)."""

    app: object
    client: object
    base: str

    @property
    def token(self):
        return self.app.extensions["app_context"].token

    @property
    def build(self):
        return self.app.extensions["app_context"].build

    def get(self, path, **headers):
        return self.client.get(path, base_url=self.base, headers=headers)

    def post(self, path, json=None, data=None, **headers):
        headers = {"X_Build_Token": self.token, "Origin": self.base, **headers}
        return self.client.post(
            path,
            base_url=self.base,
            json=json,
            data=data,
            headers={k.replace("_", "-"): v for k, v in headers.items() if v is not None},
        )

    def edit(self, **ask):
        return self.post("/api/edit", json={"base": self.build.n, "ask": ask})


@pytest.fixture(scope="session")
def fork_servers(settings_of_nobody):
    servers = ForkServers()
    yield servers
    servers.close()


@pytest.fixture
def forking(fork_servers, monkeypatch):
    """The page's worker processes are forked."""
    if CAN_FORK:
        fork_servers.take_the_place_of(monkeypatch)


@pytest.fixture
def asked(tmp_path, forking):
    """A page for an empty build, asked without a network."""
    from webui.app import close_app, create_app

    app = create_app(tmp_path / "build", port=8174)
    yield Asked(app, app.test_client(), "http://127.0.0.1:8174")
    close_app(app)


@contextmanager
def _serving(fork_servers):
    pages = []

    def start(folder, **options):
        page = open_page(folder, say=lambda text: None, **options)
        thread = threading.Thread(target=page.serve, daemon=True)
        thread.start()
        pages.append((page, thread))
        return page

    def stop(page):
        pages[:] = [(p, t) for p, t in pages if p is not page]
        page.stop()
        page.close()

    start.stop = stop
    with pytest.MonkeyPatch.context() as patch:
        if CAN_FORK:
            fork_servers.take_the_place_of(patch)
        yield start
        for page, _ in tuple(pages):
            stop(page)


@pytest.fixture
def serve(fork_servers):
    """Opens pages that answer on a port of loopback; closes them in the end."""
    with _serving(fork_servers) as start:
        yield start


@pytest.fixture(scope="module")
def serve_once(fork_servers):
    """As `serve`, for what a file's tests share."""
    with _serving(fork_servers) as start:
        yield start


@pytest.fixture(scope="session")
def browsers():
    """Gives the Chromium of this session, another where that one ended."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine (Debian: apt-get install chromium)")
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed (pip install playwright)"
    )
    with sync_api.sync_playwright() as playwright:
        begun = []

        def running():
            if not begun or not begun[-1].is_connected():
                begun.append(
                    playwright.chromium.launch(
                        executable_path=CHROMIUM, args=ARGUMENTS, timeout=1000 * patience()
                    )
                )
            return begun[-1]

        yield running
        for browser in begun:
            browser.close()


@pytest.fixture
def browser(browsers):
    return browsers()


class Windows:
    """Windows of a Chromium, each with cookies of its own, kept for the next test.

    To open one takes as much of the processor as all that the page does in it (1.2 of 2.4 s, Chromium 156):
    pages that are opened alike come as tabs of one window after another, and find nothing of those before.
    """

    MOST_IDLE = 3  # as many as one test opens alike, and each holds memory; this project's choice

    def __init__(self, browsers):
        self._browsers = browsers
        self._idle = []  # (options, context, the empty tab that keeps its window open)

    def window(self, **options):
        """A window with these options (of Playwright's `Browser.new_context`) that nobody else has until it
        is given back."""
        browser = self._browsers()
        found = next((w for w in self._idle if w[0] == options and w[1].browser is browser), None)
        if found:
            self._idle.remove(found)
        else:
            context = browser.new_context(**options)
            found = options, context, context.new_page()
        return found

    def give_back(self, taken):
        """Closes the tabs that were opened in these windows, and empties them."""
        for options, context, empty in taken:
            if empty.is_closed():  # the test closed its window, or the browser
                continue
            network = context.new_cdp_session(empty)
            for tab in [t for t in context.pages if t is not empty]:
                origin = "{0.scheme}://{0.netloc}".format(urlsplit(tab.url))
                tab.close()
                network.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"})
            network.send("Network.clearBrowserCache")
            network.detach()
            context.clear_cookies()
            self._idle.append((options, context, empty))
        while len(self._idle) > self.MOST_IDLE:
            self._idle.pop(0)[1].close()


@pytest.fixture(scope="session")
def windows(browsers):
    return Windows(browsers)


@contextmanager
def _opening(windows):
    faults, taken = [], []

    def start(address, size=(1280, 800), scheme="light", **options):
        origin = "{0.scheme}://{0.netloc}/".format(urlsplit(address))
        window = windows.window(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            reduced_motion="reduce",
            **options,
        )
        taken.append(window)
        page = window[1].new_page()
        page.set_default_timeout(1000 * patience())
        page.on("pageerror", lambda error: faults.append(f"script: {error}"))
        page.on(
            "console",
            lambda m: (
                faults.append(m.text)
                if m.type == "error" and "409" not in m.text and "422" not in m.text
                else None
            ),
        )
        page.on(
            "request",
            lambda r: (
                faults.append(f"asked {r.url}") if not r.url.startswith((origin, "data:", "blob:")) else None
            ),
        )
        page.goto(address)
        page.wait_for_selector("body[data-ready]")
        return page

    yield start
    windows.give_back(taken)
    assert faults == []


@pytest.fixture
def opened(windows):
    """Opens an address in a window that nothing else of this test is in; in the end nothing may have failed,
    and nobody else been asked."""
    with _opening(windows) as start:
        yield start


@pytest.fixture(scope="module")
def opened_once(windows):
    """As `opened`, for what a file's tests share."""
    with _opening(windows) as start:
        yield start


class Shared:
    """A page that the tests of a file share: to open one takes more of the processor than most tests in it.

    Each test finds the frame as it was at first; of what was done before there is more to undo, and a version
    number (`build.n`) that is higher.

    Attributes
    ----------
    page : Page
        Playwright's.
    build : Build
    address : str
        Of the page, for another window.
    first : State
        How each test finds the build.
    """

    def __init__(self, opened_once, serving, *args, **options):
        self.page, self.build = opened_once(serving.address, *args, **options), build_of(serving)
        self.address = serving.address
        self.first = self.build.state
        self._as_opened = True  # nobody has had the page

    def back(self):
        """(page, build) with the frame as it was at first, and what the page shows left as it is."""
        self._reset()
        self._as_opened = False
        wait_n(self.page, self.build.n)
        return self.page, self.build

    def _reset(self):
        if self.build.state != self.first:
            self.build.change(lambda _: (self.first, "As it was at first"), kind="reading")

    def anew(self, size=None):
        """(page, build) as when the page is opened, perhaps at another size (px), with the frame as it was at
        first."""
        if self._as_opened and not size:
            return self.back()
        self._reset()
        self._as_opened = False
        if size:
            self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.evaluate("localStorage.clear(), sessionStorage.clear()")
        self.page.reload()
        self.page.wait_for_selector("body[data-ready]")
        return self.page, self.build


@pytest.fixture(scope="module")
def shared_sample(opened_once, serve_once, tmp_path_factory):
    """The sample's build in a page that a file's tests share."""
    return Shared(opened_once, serve_once(sample_build(tmp_path_factory.mktemp("shared") / "b")))
