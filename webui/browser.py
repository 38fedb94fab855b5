"""The user's browser, opened by itself where there is one with a screen."""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Mapping


def has_screen(platform: str = sys.platform, env: Mapping[str, str] = os.environ) -> bool:
    """Whether a browser could be seen: elsewhere than on Windows and macOS, where X or Wayland run.

    Examples
    --------
    >>> has_screen("linux", {}), has_screen("linux", {"DISPLAY": ":0"}), has_screen("darwin", {})
    (False, True, True)
    """
    if platform in ("win32", "darwin"):
        return True
    return bool(env.get("DISPLAY") or env.get("WAYLAND_DISPLAY"))


def open_browser(address: str) -> bool:
    """Opens an address in the user's browser; whether one was found."""
    if not has_screen():
        return False
    try:
        return webbrowser.open(address)
    except (webbrowser.Error, OSError):
        return False
