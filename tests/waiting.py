"""How long tests wait for a state before they say that it never came: one limit for all of them.

A wait ends as soon as what is awaited is there, so a generous limit costs nothing where all is well.
"""

import os
import time

# On a machine that does nothing else, where a state takes seconds and a reading half a minute; this project's
# choice.
PATIENCE_S = 120.0


def patience() -> float:
    """Seconds to wait for a state: the longer, the more processes want each core (the load average)."""
    try:
        load = os.getloadavg()[0]
    except (OSError, AttributeError):  # Windows keeps none
        load = 0.0
    return PATIENCE_S * max(1.0, load / (os.cpu_count() or 1))


def until(check, what: str, pause=time.sleep, step_s: float = 0.025):
    """Asks `check` until its answer is true, and returns that answer.

    Parameters
    ----------
    check : callable
    what : str
        What is awaited, for the message.
    pause : callable
        Takes the seconds until it is asked again.
    step_s : float

    Raises
    ------
    AssertionError
        Where it does not come within `patience`.
    """
    end = time.monotonic() + patience()
    while not (answer := check()):
        assert time.monotonic() < end, f"never came: {what}"
        pause(step_s)
    return answer
