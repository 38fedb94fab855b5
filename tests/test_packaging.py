"""What the package says of itself, and what it is shipped with."""

import tomllib
from pathlib import Path

import pytest

import recon
from recon import cli

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_the_version_comes_from_one_place(capsys):
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == f"recon {recon.__version__}\n"
    assert "version" not in PROJECT["project"] and PROJECT["project"]["dynamic"] == ["version"]
    assert PROJECT["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "recon.__version__"}


@pytest.mark.parametrize("package", ["recon", "webui"])
def test_every_file_of_a_package_is_shipped(package):
    data, root = PROJECT["tool"]["setuptools"]["package-data"], ROOT / package
    shipped = {p for pattern in data["*"] for p in root.rglob(pattern)}
    shipped |= {p for pattern in data.get(package, ()) for p in root.glob(pattern)}
    files = {p for p in root.rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc")}
    files -= {root / "biome.jsonc"}  # for development only
    assert root / "py.typed" in shipped  # PEP 561: others may rely on the types
    assert files and sorted(files - shipped) == []
