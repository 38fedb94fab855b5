"""Licences of all packages that the product needs, and what is known of their faults.

    python -m tests.dependencies                     licences; ends with 1 where one is not permissive
    python -m tests.dependencies --vulnerabilities   also known vulnerabilities (pip-audit asks PyPI for them)

Licences are what each installed package says of itself.  Wheels may hold libraries of other licences: those
that are known are named.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution

PRODUCT = "frame-recon"
# Licences that ask for no more than to be named (OSI's list of permissive licences).
PERMISSIVE = re.compile(
    r"\b(MIT|BSD|Apache|ISC|PSF|Python Software Foundation|HPND|CNRI|ZPL|Zlib|0BSD)\b", re.I
)
# What the wheels of these packages hold besides, by their own notices.
INSIDE = {
    "pillow_heif": "wheel holds libheif and libde265 (LGPL) and x265 (GPL-2)",
    "opencv-python": "wheel holds Qt 5 and FFmpeg (LGPL); opencv-python-headless holds no Qt",
    "opencv-python-headless": "wheel holds FFmpeg (LGPL)",
}
LONGEST = 60  # characters: some packages have their whole licence in the field


def needed(name: str, seen: dict[str, Distribution] | None = None) -> dict[str, Distribution]:
    """The packages that one needs, with all that these need, by name; those not installed are left out."""
    seen = {} if seen is None else seen
    try:
        package = distribution(name)
    except PackageNotFoundError:
        return seen
    seen[package.metadata["Name"]] = package
    for requirement in package.requires or ():
        if "extra ==" in requirement:
            continue
        other = re.split(r"[\s;<>=!~\[(]", requirement, maxsplit=1)[0]
        if other and other.lower() not in {n.lower() for n in seen}:
            needed(other, seen)
    return seen


def licence(package: Distribution) -> str:
    """The licence that a package gives itself, in a line."""
    said = package.metadata
    classifiers = [c.split(" :: ")[-1] for c in said.get_all("Classifier", []) if c.startswith("License ::")]
    named = [c for c in classifiers if c != "OSI Approved"]
    text = said.get("License-Expression") or ", ".join(named) or (said.get("License") or "").split("\n")[0]
    return text[:LONGEST] or "not said"


def rows() -> Iterator[tuple[str, str, str, bool]]:
    """Name and version, licence, what its wheel holds besides, whether the licence is permissive."""
    for name, package in sorted(needed(PRODUCT).items(), key=lambda item: item[0].lower()):
        text = licence(package)
        yield f"{name} {package.version}", text, INSIDE.get(name, ""), bool(PERMISSIVE.search(text))


def main(argv: list[str]) -> int:
    """Prints the licences; returns 1 where one is not permissive or a vulnerability is known."""
    parser = argparse.ArgumentParser(prog="python -m tests.dependencies")
    parser.add_argument("--vulnerabilities", action="store_true", help="also ask for known vulnerabilities")
    options = parser.parse_args(argv)
    bad = 0
    for name, text, inside, good in rows():
        print(f"{name:34} {text}{'' if good else '   NOT PERMISSIVE'}{f'   ({inside})' if inside else ''}")
        bad += not good
    if options.vulnerabilities:
        bad += subprocess.run([sys.executable, "-m", "pip_audit", "--skip-editable"], check=False).returncode
    return min(bad, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
