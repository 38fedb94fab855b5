"""The one error that is meant for people."""


class ReconError(Exception):
    """Something that the user can put right.

    The message is one sentence or two: what was wrong, where, and what to do. The command line prints
    it as it is, without a traceback.

    Attributes
    ----------
    exit_code : int
        What the command line ends with; never 0.
    """

    def __init__(self, message: str, exit_code: int = 2):
        super().__init__(message)
        self.exit_code = exit_code
