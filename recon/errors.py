"""The one error that is meant for people."""


class ReconError(Exception):
    """Something that the user can put right.

    The message is one sentence or two: what was wrong, where, and what to do. The command line prints
    it as it is, without a traceback.
    """
