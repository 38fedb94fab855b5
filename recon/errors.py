"""The one error that people are meant to read."""


class ReconError(Exception):
    """Something a person must put right: the message says what was wrong, where, and what to do.

    `exit_code` is what the command line exits with; it is never 0.
    """

    def __init__(self, message: str, exit_code: int = 2):
        super().__init__(message)
        self.exit_code = exit_code
