"""Pictures without a frame: how many are claimed to show one, and how many members are called sure.

    python -m recon.bench decoys FOLDER [FOLDER ...] [--json FILE]

Each picture of the folders is read by itself.  Any that shows dots, perforated sheet, tiles, textures or
other things will do, as long as no frame is in it; `python -m tests.solve.decoys FOLDER` draws a set.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.stock import Stock, load_stocks
from recon.image.photos import find_photos, load_photo


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code: 1 where a member was called sure."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench decoys", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--json", type=Path, help="write all figures to this file, too")
    opts = parser.parse_args(args)
    stocks = load_stocks()
    rows = []
    for path in find_photos(opts.folders):
        rows.append(measure(path, stocks))
        print("{picture:30} {members:3} members, {sure} sure  {said}".format(**rows[-1]), flush=True)
    claimed, sure = Counter(r["members"] > 0 for r in rows), sum(r["sure"] for r in rows)
    print(f"{len(rows)} pictures without a frame: {claimed[True]} claimed, {sure} members called sure")
    if opts.json:
        opts.json.write_text(json.dumps(rows, indent=1))
    return 1 if sure else 0


def measure(path: Path, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """What is claimed of one picture; what is said, where it is refused."""
    from recon import solve

    row: dict[str, Any] = {"picture": path.name, "members": 0, "sure": 0, "said": ""}
    try:
        frame = solve.read([load_photo(path)], stocks=stocks).frame
    except ReconError as error:
        return row | {"said": str(error)}
    return row | {"members": len(frame.members), "sure": sum(m.confidence >= SURE for m in frame.members)}
