"""What is installed is what is shipped: the demo runs from the wheel, in an empty folder, far from the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
PACKAGES = ("shared", "course", "rubrics", "lessons")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(out), str(TOP)],
        check=True, capture_output=True,
    )  # fmt: skip
    return next(out.glob("fairfit-*.whl"))


def test_the_wheel_holds_every_file_of_the_four_packages(wheel):
    """Code, kinds, joints, checks, operations, tables, templates, fonts and demo courses are in it, nothing else."""
    listed = subprocess.run(["git", "ls-files", *PACKAGES], cwd=TOP, check=True, capture_output=True, text=True)
    tracked = {name for name in listed.stdout.splitlines() if (TOP / name).exists()}
    with zipfile.ZipFile(wheel) as packed:
        names = {name for name in packed.namelist() if ".dist-info/" not in name}
    assert names == tracked


def test_the_demo_runs_from_the_wheel(wheel, tmp_path):
    """Unpacked elsewhere, `fairfit demo` writes, collects and grades its course with nothing of the checkout."""
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(site)
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")} | {"PYTHONPATH": str(site)}
    code = "import lessons, sys; from lessons.__main__ import main; print(lessons.__file__); main()"
    ran = subprocess.run(
        [sys.executable, "-P", "-c", code, "demo", "course"], cwd=tmp_path, env=environment, capture_output=True,
        text=True, timeout=900,
    )  # fmt: skip
    assert ran.returncode == 1, ran.stderr
    assert str(site) in ran.stdout
    out = tmp_path / "course" / "out"
    assert len(list((out / "packets").glob("*.pdf"))) == len(list((out / "packets").glob("*.html"))) == 13
    assert (out / "gradebook.xlsx").stat().st_size > 10_000
    assert len(list((out / "feedback").glob("*.html"))) == 13
