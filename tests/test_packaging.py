"""What the package says of itself, and what it is shipped with."""

import tomllib
from fnmatch import fnmatch
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
    data = PROJECT["tool"]["setuptools"]["package-data"]
    patterns = [*data["*"], *data.get(package, ())]
    root = ROOT / package
    assert (root / "py.typed").is_file()  # PEP 561: the types are meant to be used by others
    files = [p for p in root.rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc")]
    left_out = [
        str(p.relative_to(root))
        for p in files
        if not any(fnmatch(p.name, x) or fnmatch(str(p.relative_to(root)), x) for x in patterns)
    ]
    assert files and left_out == []
