"""The workshop's usual stock in the user's settings."""

import json
from pathlib import Path

import pytest

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.frame.usual_stock import (
    SETTINGS,
    load_stocks_of_user,
    set_usual_stock,
    settings_folder,
    usual_stock,
)

STOCKS = load_stocks()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The settings' folder in an empty home."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "settings"))
    return settings_folder()


def test_settings_lie_where_the_platform_has_them():
    assert settings_folder("linux", {"HOME": "/home/ann"}) == Path("/home/ann/.config/recon")
    relative = {"HOME": "/home/ann", "XDG_CONFIG_HOME": "settings"}
    assert settings_folder("linux", relative) == Path("/home/ann/.config/recon")
    assert settings_folder("linux", relative | {"XDG_CONFIG_HOME": "/etc/ann"}) == Path("/etc/ann/recon")
    mac = settings_folder("darwin", {"HOME": "/Users/ann"})
    assert mac == Path("/Users/ann/Library/Application Support/recon")
    windows = settings_folder("win32", {"APPDATA": "C:/Users/ann/AppData/Roaming"})
    assert windows == Path("C:/Users/ann/AppData/Roaming/recon")


def test_without_settings_no_stock_is_usual(folder):
    assert usual_stock() is None and load_stocks_of_user() == STOCKS


def test_the_usual_stock_is_kept_until_it_is_cleared(folder):
    set_usual_stock("softwood-40", STOCKS)
    assert usual_stock() == "softwood-40"
    stocks = load_stocks_of_user()
    assert max(stocks.values(), key=lambda s: s.prior).id == "softwood-40"
    assert stocks["softwood-38"] == STOCKS["softwood-38"]
    set_usual_stock("none", STOCKS)
    assert usual_stock() is None and load_stocks_of_user() == STOCKS


def test_other_settings_stay_as_they_are(folder):
    folder.mkdir(parents=True)
    (folder / SETTINGS).write_text('{"units": "inch"}')
    set_usual_stock("softwood-40", STOCKS)
    assert json.loads((folder / SETTINGS).read_text()) == {"units": "inch", "usual_stock": "softwood-40"}


def test_a_stock_that_is_not_listed_is_refused_and_changes_nothing(folder):
    set_usual_stock("softwood-40", STOCKS)
    with pytest.raises(ReconError, match="not in the stock list"):
        set_usual_stock("softwood-41", STOCKS)
    assert usual_stock() == "softwood-40"


def test_a_usual_stock_of_a_list_that_is_not_at_hand_is_passed_over(folder):
    folder.mkdir(parents=True)
    (folder / SETTINGS).write_text('{"usual_stock": "ash-32"}')
    assert load_stocks_of_user() == STOCKS


@pytest.mark.parametrize("text", ["[1, 2]", "{", '{"usual_stock": '])
def test_settings_that_are_broken_are_named(folder, text):
    folder.mkdir(parents=True)
    (folder / SETTINGS).write_text(text)
    with pytest.raises(ReconError, match=SETTINGS):
        usual_stock()
