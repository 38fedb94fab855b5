"""How long tests wait for a state before they say that it never came: one limit for all of them.

A wait ends as soon as what is awaited is there, so a generous limit costs nothing where all is well; where it
never comes, the limit is what CI loses.
"""

import os
import time

# On a machine that does nothing else, where a state takes seconds, and a reading half a minute: this
# project's choice.
PATIENCE_S = 45.0
READING_S = 120.0
# The load average counts all that wants a core, the suite's own browsers and workers among them, which work
# in turns: six on two cores do not make each three times as slow.  Without a bound, and with 120 s for every
# state, one wait that never ended took 376 s of CI's 900.  This project's choice.
MOST_LOAD = 3.0


def patience(quiet_s: float = PATIENCE_S) -> float:
    """Seconds to wait for a state: the longer, the more processes want each core (the load average).

    Parameters
    ----------
    quiet_s : float
        Seconds on a machine that does nothing else: PATIENCE_S, or READING_S for what reads photographs.
    """
    try:
        load = os.getloadavg()[0]
    except (OSError, AttributeError):  # Windows keeps none
        load = 0.0
    return quiet_s * min(MOST_LOAD, max(1.0, load / (os.cpu_count() or 1)))


def until(check, what: str, pause=time.sleep, step_s: float = 0.025, quiet_s: float = PATIENCE_S):
    """Asks `check` until its answer is true, and returns that answer.

    Parameters
    ----------
    check : callable
    what : str
        What is awaited, for the message.
    pause : callable
        Takes the seconds until it is asked again.
    step_s : float
    quiet_s : float
        As `patience` takes it.

    Raises
    ------
    AssertionError
        Where it does not come within `patience`.
    """
    end = time.monotonic() + patience(quiet_s)
    while not (answer := check()):
        assert time.monotonic() < end, f"never came: {what}"
        pause(step_s)
    return answer
