"""The checks of a frame, in a process of its own: `python -m webui.checking`, for `webui.jobs`.

Reads a pickled (State, stocks) from its parent on stdin and prints the checks as JSON.
"""
from __future__ import annotations

import json
import pickle
import sys

from webui import effects
from webui.system import step_back

if __name__ == "__main__":
    step_back()
    print(json.dumps(effects.checks(*pickle.load(sys.stdin.buffer))))
