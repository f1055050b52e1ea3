"""One browser and one set of pages for all tests of how pages look."""

import os
import pathlib

import pytest

from browser import Browser, have_browser
from pages import Pages

HERE = pathlib.Path(__file__).parent


@pytest.fixture(scope="session")
def browser():
    if not have_browser():
        pytest.skip("no chromium here")
    opened = Browser()
    opened.run_first((HERE / "ink.js").read_text())
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    return Pages(pathlib.Path(os.environ["FIRSTEDGE_BIN"]), tmp_path_factory.mktemp("pages"))


@pytest.fixture(scope="session")
def gallery():
    """Where pictures are left to be looked at."""
    folder = pathlib.Path(os.environ["FIRSTEDGE_SCREENSHOTS"])
    folder.mkdir(parents=True, exist_ok=True)
    return folder
