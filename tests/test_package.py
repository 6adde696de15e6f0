"""The wheel, made from the archive of the sources, works in an environment of its own, away from the checkout."""

import json
import os
import shutil
import site
import subprocess
import sys
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
SKIPPED = shutil.ignore_patterns(
    "__pycache__", ".*cache", ".venv", ".git", "*.egg-info", "demo", ".hypothesis", "build"
)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A folder with the archive of the sources and the wheel that is made from it."""
    copy, made = tmp_path_factory.mktemp("copy") / "fourlimb", tmp_path_factory.mktemp("dist")
    shutil.copytree(ROOT, copy, ignore=SKIPPED)
    build = [sys.executable, "-m", "build", "--no-isolation", "--outdir", made, copy]
    done = subprocess.run(build, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return made


@pytest.fixture(scope="module")
def installed(made, tmp_path_factory) -> Path:
    """An environment with the wheel alone; the packages that it needs are lent by the one that the tests run in."""
    place = tmp_path_factory.mktemp("away") / "env"
    venv.create(place, with_pip=False)
    python = place / "bin" / "python"
    pip = [
        sys.executable,
        "-m",
        "pip",
        "--python",
        python,
        "install",
        "-q",
        "--no-deps",
        "--no-index",
        *made.glob("*.whl"),
    ]
    subprocess.run(pip, check=True, env=_outside())
    lent = Path(
        subprocess.check_output([python, "-c", "import site; print(site.getsitepackages()[0])"], text=True).strip()
    )
    # A path file inside a folder that a path file names is not read: so the checkout stays out of sight.
    (lent / "lent.pth").write_text("\n".join(site.getsitepackages()) + "\n")
    return place


def _outside() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}


def run(place: Path, *words) -> str:
    done = subprocess.run(
        [place / "bin" / "fourlimb", *map(str, words)], capture_output=True, text=True, cwd=place, env=_outside()
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stderr[-2000:]
    return done.stdout


def test_the_wheel_holds_every_file_of_the_packages(made):
    (wheel,) = made.glob("*.whl")
    inside = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    packages = [file for name in ("grooves", "render") for file in (ROOT / name).rglob("*") if file.is_file()]
    assert inside == {str(file.relative_to(ROOT)) for file in packages if "__pycache__" not in file.parts}


def test_the_archive_holds_what_a_contributor_needs(made):
    (archive,) = made.glob("*.tar.gz")
    with tarfile.open(archive) as opened:
        inside = {name.partition("/")[2] for name in opened.getnames()}
    wanted = (
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "Makefile",
        ".ci/run",
        ".ci/setup",
        "soundfonts/README.md",
    )
    assert {*wanted, "examples/upbeats.toml", "docs/lesson.md", "tests/conftest.py"} <= inside


def test_who_has_the_wheel_alone_gets_tracks_page_chart_and_a_checked_take(installed):
    assert run(installed, "--version").split() == ["fourlimb", VERSION]
    where = "import grooves, render; print(grooves.__file__, render.__file__)"
    here = subprocess.check_output(
        [installed / "bin" / "python", "-c", where], text=True, cwd=installed, env=_outside()
    )
    assert all(str(installed) in file for file in here.split())
    run(installed, "demo", "-o", "demo")
    lesson, take = "demo/first-lesson.toml", "demo/made-up-take.mid"
    run(installed, "page", lesson, "-o", "page.html")
    run(installed, "chart", lesson, "-o", "chart.pdf")
    said = json.loads(run(installed, "check", lesson, take, "--json"))
    assert any("right foot" in one and "after the other limbs" in one for one in said["sentences"])
    assert any("In bar 3 the snare was missing on 4" in one for one in said["sentences"])
    assert (installed / "page.html").stat().st_size > 100_000
    assert (installed / "chart.pdf").read_bytes().startswith(b"%PDF")


def test_the_version_stands_in_one_place():
    texts = [*ROOT.glob("grooves/**/*.py"), *ROOT.glob("render/**/*.py")]
    assert not [file for file in texts if f'"{VERSION}"' in file.read_text()]
    assert f"## {VERSION}" in (ROOT / "CHANGELOG.md").read_text()
