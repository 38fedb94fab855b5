"""A page that runs, for tests: opened on a folder, asked like a browser asks."""
import threading
from dataclasses import dataclass
from pathlib import Path

import pytest

from webui.serve import open_page

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_images" / "oddment"


@dataclass
class Asked:
    """A page and a client of it (flask's, without a network)."""

    app: object
    client: object
    base: str

    @property
    def token(self):
        return self.app.extensions["bench"].token

    @property
    def build(self):
        return self.app.extensions["bench"].build

    def get(self, path, **headers):
        return self.client.get(path, base_url=self.base, headers=headers)

    def post(self, path, json=None, data=None, **headers):
        headers = {"X_Build_Token": self.token, "Origin": self.base, **headers}
        return self.client.post(path, base_url=self.base, json=json, data=data, headers={k.replace("_", "-"): v for k, v in headers.items() if v is not None})

    def edit(self, **ask):
        return self.post("/api/edit", json={"base": self.build.n, "ask": ask})


@pytest.fixture
def asked(tmp_path):
    """A page for an empty build, asked without a network."""
    from webui.app import close_app, create_app

    app = create_app(tmp_path / "build", port=8174)
    yield Asked(app, app.test_client(), "http://127.0.0.1:8174")
    close_app(app)


@pytest.fixture
def serve():
    """Opens pages that answer on a port of loopback; closes them in the end."""
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
    yield start
    for page, _ in list(pages):
        stop(page)
