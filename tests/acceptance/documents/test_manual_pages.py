"""Each app has a manual page, made from its --help: all of its options, an example, and no warning when it is set."""

import os
import pathlib
import re
import subprocess

import pytest

from example_files import SOURCE

BIN = pathlib.Path(os.environ["FIRSTEDGE_BIN"])
MANUAL = pathlib.Path(os.environ["FIRSTEDGE_MANUAL"])
VERBS = sorted(file.parent.name for file in (SOURCE / "apps").glob("*/main.cpp"))


def help_of(verb, *job):
    words = [BIN / f"firstedge-{verb}", *job, "--help"]
    return subprocess.run(words, check=True, capture_output=True, text=True).stdout


def jobs_of(help_text):
    below = re.search(r"^Subcommands:\n((?:  .*\n)+)", help_text, re.MULTILINE)
    return re.findall(r"^  ([a-z-]+)", below.group(1), re.MULTILINE) if below else []


@pytest.fixture(scope="module", params=VERBS)
def page(request):
    """Verb, text as a terminal shows it with wide lines, and what the formatter warned of."""
    file = MANUAL / f"firstedge-{request.param}.1"
    shown = subprocess.run(["groff", "-man", "-ww", "-k", "-Tutf8", "-P-cbou", "-rLL=1000n", file], check=True,
                           capture_output=True, text=True)
    return request.param, shown.stdout, shown.stderr


def test_is_set_without_warnings(page):
    _, _, warnings = page
    assert warnings == ""


def test_says_what_the_app_does_with_an_example(page):
    verb, text, _ = page
    assert re.search(rf"^NAME\n +firstedge-{verb} - [a-z]", text, re.MULTILINE), text
    assert re.search(rf"^EXAMPLES\n +firstedge-{verb} ", text, re.MULTILINE), text


def test_holds_every_line_of_the_help(page):
    verb, text, _ = page
    set_words = " ".join(text.split())
    own = help_of(verb)
    for help_text in [own] + [help_of(verb, job) for job in jobs_of(own)]:
        described = [line for line in help_text.splitlines() if line.startswith("  ") and "-h,--help" not in line]
        assert described
        for line in described:
            for part in re.split(r"  +", line.strip()):
                assert " ".join(part.split()) in set_words, part
