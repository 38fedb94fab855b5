"""The builds that were opened last, kept in the user's settings."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from recon.files import write_text_atomic
from recon.frame.usual_stock import settings_folder
from webui.storage.journal import NAME as JOURNAL

FILE = "builds.json"
MOST = 12  # that are kept.  This project's choice


@dataclass(frozen=True)
class RecentBuild:
    """A build that was opened.

    Attributes
    ----------
    folder : Path
    changed : datetime
        When it was changed last, in local time.
    """

    folder: Path
    changed: datetime


def recent_builds() -> list[RecentBuild]:
    """Builds that were opened and are still there, the last one first."""
    found = []
    for folder in _kept():
        journal = folder / JOURNAL
        if journal.is_file():
            found.append(RecentBuild(folder, datetime.fromtimestamp(journal.stat().st_mtime)))
    return found


def remember(folder: Path) -> None:
    """Puts a build first.  Where the settings cannot be written it is not remembered, and nothing else."""
    here = folder.resolve()
    folders = [here, *(f for f in _kept() if f != here)][:MOST]
    path = settings_folder() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text_atomic(path, json.dumps([str(f) for f in folders], ensure_ascii=False, indent=1) + "\n")
    except OSError:
        return


def _kept() -> list[Path]:
    """The folders in the settings; none where they cannot be read."""
    try:
        listed = json.loads((settings_folder() / FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return [Path(f) for f in listed if isinstance(f, str)] if isinstance(listed, list) else []
