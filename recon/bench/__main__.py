"""`python -m recon.bench NAME [ARGUMENTS]`: one measurement; without a name, what there is."""

import importlib
import pkgutil
import sys
from pathlib import Path

from recon.errors import ReconError


def names() -> list[str]:
    """The measurements: modules of this package with a `run(args)`."""
    found = (m.name for m in pkgutil.iter_modules([str(Path(__file__).parent)]))
    return sorted(
        n for n in found if n != "__main__" and hasattr(importlib.import_module(f"recon.bench.{n}"), "run")
    )


def main(argv: list[str]) -> int:
    """Run one measurement; returns its exit code."""
    if not argv or argv[0] not in names():
        print("python -m recon.bench NAME, where NAME is one of: " + ", ".join(names()))
        return 2
    try:
        return importlib.import_module(f"recon.bench.{argv[0]}").run(argv[1:]) or 0
    except ReconError as error:
        print(error, file=sys.stderr)
        return error.exit_code


sys.exit(main(sys.argv[1:]))
