"""docs/tutorial.md shows bindings/python/tutorial.py cell by cell, with what each cell prints; its figures are made."""

import os
import pathlib
import re
import subprocess
import sys

import pytest

from example_files import SOURCE

TUTORIAL = SOURCE / "bindings/python/tutorial.py"
PAGE = SOURCE / "docs/tutorial.md"
FIGURES = {"traces.png", "noise.png", "jitter.png"}
PAGES = {"jitter.html", "spectrum.html"}

# Runs the cells one after the other and prints a mark behind each.
RUNNER = """
import pathlib, sys
sys.path.pop(0)
names = {"__name__": "__main__"}
for number, cell in enumerate(pathlib.Path(sys.argv.pop(1)).read_text().split("\\n# %% ")):
    exec(compile(cell if number == 0 else "# %% " + cell, f"cell {number}", "exec"), names)
    print("\\f", end="")
"""

pytestmark = pytest.mark.skipif(not os.environ.get("FIRSTEDGE_PYTHON"), reason="the Python package is not built")


def cells():
    """(title, code) of each cell; what stands above the first is the script's docstring."""
    parts = re.split(r"^# %% (.*)\n", TUTORIAL.read_text(), flags=re.MULTILINE)
    return list(zip(parts[1::2], (code.strip() for code in parts[2::2]), strict=True))


def shown():
    """(code, output) of each step of the page; an output may be missing."""
    pattern = r"^```python\n(.*?)^```\n(?:\n```text\n(.*?)^```\n)?"
    return [(code.strip(), output) for code, output in re.findall(pattern, PAGE.read_text(), re.DOTALL | re.MULTILINE)]


@pytest.fixture(scope="module")
def printed():
    """What each cell prints; figures and pages stay in the build tree."""
    folder = pathlib.Path(os.environ["FIRSTEDGE_TUTORIAL"])
    folder.mkdir(exist_ok=True)
    for file in folder.iterdir():
        file.unlink()
    said = subprocess.run([sys.executable, "-c", RUNNER, TUTORIAL, folder], check=True, capture_output=True, text=True,
                          env={**os.environ, "PYTHONPATH": os.environ["FIRSTEDGE_PYTHON"]}).stdout
    return said.split("\f")[1:-1]


def test_the_page_shows_every_cell_as_it_stands():
    assert [code for code, _ in shown()] == [code for _, code in cells()]


def test_the_page_shows_what_is_printed(printed):
    assert [output for _, output in shown()] == printed


def test_figures_and_pages_are_made(printed):
    folder = pathlib.Path(os.environ["FIRSTEDGE_TUTORIAL"])
    assert {file.name for file in folder.iterdir()} == FIGURES | PAGES | {"one.csv"}
    for name in FIGURES:
        assert (folder / name).read_bytes().startswith(b"\x89PNG")
    for name in PAGES:
        assert (folder / name).read_text().startswith("<!DOCTYPE html>")


def test_the_page_names_every_figure():
    for name in FIGURES | PAGES:
        assert name in PAGE.read_text()
