"""The workshop's usual stock, kept in the user's settings: it settles what photos cannot."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from recon.errors import ReconError
from recon.files import why_not_written, write_text_atomic
from recon.frame.stock import Stock, find_stock, load_stocks, preferred
from recon.frame.user_files import parse_json, read_text

SETTINGS = "settings.json"
USUAL = "usual_stock"  # key of its id in the settings
NONE = "none"


def settings_folder(platform: str = sys.platform, env: Mapping[str, str] = os.environ) -> Path:
    """The folder of the user's settings, which need not exist.

    Notes
    -----
    The XDG Base Directory Specification 0.8 (a path that is not absolute is ignored); APPDATA on Windows;
    ~/Library/Application Support on macOS (Apple, File System Programming Guide, from memory).

    Examples
    --------
    >>> settings_folder("linux", {"XDG_CONFIG_HOME": "/home/ann/.settings"}).as_posix()
    '/home/ann/.settings/recon'
    """
    home = Path(env.get("HOME") or Path.home())
    if platform == "win32":
        base = Path(env.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(env.get("XDG_CONFIG_HOME") or "")
        base = base if base.is_absolute() else home / ".config"
    return base / "recon"


def usual_stock() -> str | None:
    """Id of the workshop's usual stock; None where none is named.

    Raises
    ------
    ReconError
        Where the settings cannot be read.
    """
    id = _settings().get(USUAL)
    return id if isinstance(id, str) and id else None


def set_usual_stock(id: str, stocks: dict[str, Stock]) -> None:
    """Name the workshop's usual stock in the user's settings; "none" for none.

    Raises
    ------
    ReconError
        Where the list has no such stock, or the settings cannot be read or written.
    """
    settings = {key: value for key, value in _settings().items() if key != USUAL}
    if id != NONE:
        settings[USUAL] = find_stock(stocks, id).id
    path = settings_folder() / SETTINGS
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise why_not_written(path, error) from error
    write_text_atomic(path, json.dumps(settings, indent=1) + "\n")


def load_stocks_of_user(extra_path: str | Path | None = None) -> dict[str, Stock]:
    """The stock list for a reading: as `load_stocks`, with the workshop's usual stock preferred.

    A usual stock that the list does not have is passed over.

    Parameters
    ----------
    extra_path : str or Path, optional
        The user's own list.

    Raises
    ------
    ReconError
        Where the list or the settings cannot be read.
    """
    stocks, usual = load_stocks(extra_path), usual_stock()
    return preferred(stocks, [usual]) if usual in stocks else stocks


def _settings() -> dict[str, Any]:
    path = settings_folder() / SETTINGS
    if not path.exists():
        return {}
    data = parse_json(read_text(path, "settings file"), str(path))
    if not isinstance(data, dict):
        raise ReconError(f"{path}: the settings are not a JSON object; mend or delete the file.")
    return data
