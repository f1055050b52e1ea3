"""Every command that README.md and docs/*.md show is run as it stands there, on small files of the names it uses."""

import functools
import os
import pathlib
import shutil
import subprocess

import pytest

from example_files import SET_OF_APP, SOURCE
from shell_blocks import code_blocks, outputs_of, shell_blocks, words_of

PAGES = [SOURCE / "README.md", *sorted((SOURCE / "docs").glob("*.md"))]
BLOCKS = [block for page in PAGES for block in shell_blocks(page)]
BIN = pathlib.Path(os.environ["FIRSTEDGE_BIN"])

# Commands that begin so are not run here.
NOT_RUN = {
    "scripts/demo": "installs packages and builds",
    "scripts/test": "installs packages and builds; it runs this test",
    "mpirun": "needs processors of its own: acceptance/shares runs it",
    "srun": "needs a scheduler",
    "sbatch": "needs a scheduler: acceptance/job_array runs it",
    "parts=$(sbatch": "needs a scheduler: acceptance/job_array runs it",
    "tests/benchmark/run": "measures for minutes",
    "PYTHONPATH=build/release/python /usr/bin/python3": "opens an interpreter: python/pytest imports the package so",
    "/usr/bin/python3 -m venv": "part of an installation",
    "env/bin/pip install": "part of an installation",
}


def begins_as(command, beginning):
    return command == beginning or command.startswith(beginning + " ")


def reason_not_to_run(command):
    return next((reason for beginning, reason in NOT_RUN.items() if begins_as(command, beginning)), None)


def is_ours(command):
    """Calls our apps alone: first words are firstedge-*, by path or not, or the loop around them."""
    first = [line.split()[0] for line in command.splitlines() if line.strip() and not line.startswith("  -")]
    return all(pathlib.PurePath(word).name.startswith("firstedge-") or word in ("for", "done") for word in first)


def run_shell(command, folder):
    return subprocess.run(["bash", "-euo", "pipefail", "-c", command], cwd=folder, capture_output=True, text=True,
                          check=False, env={**os.environ, "PATH": f"{BIN}:{os.environ['PATH']}"},
                          stdin=subprocess.DEVNULL)


@pytest.fixture(scope="session")
def set_folder(tmp_path_factory):
    """set_folder(make): the folder that make has filled, once a session."""

    @functools.cache
    def made(make):
        folder = tmp_path_factory.mktemp(make.__name__)

        def run(verb, *words):
            subprocess.run([BIN / f"firstedge-{verb}", *map(str, words)], cwd=folder, check=True,
                           stdout=subprocess.DEVNULL)

        make(folder, run)
        return folder

    return made


def furnish(folder, block, set_folder):
    """Puts what the block's commands name into a folder."""
    sets = {SET_OF_APP[app] for app in block.apps()}
    assert len(sets) == 1, f"the apps {block.apps()} of one block need files of several sets"
    shutil.copytree(set_folder(sets.pop()), folder, symlinks=True, dirs_exist_ok=True)
    for name, target in (("build/release/bin", BIN), ("sample_data", SOURCE / "sample_data")):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).symlink_to(target)
    if block.table:
        name = next(word for word in words_of(block.commands[0]) if word.endswith(".csv"))
        (folder / name).write_text(block.table + "\n")


def test_the_pages_show_commands_of_every_app():
    shown = {app for block in BLOCKS for app in block.apps()}
    apps = {file.parent.name for file in (SOURCE / "apps").glob("*/main.cpp")}
    assert apps == shown


def test_what_is_not_run_is_shown():
    commands = [command for block in BLOCKS for command in block.commands]
    unused = [beginning for beginning in NOT_RUN if not any(begins_as(command, beginning) for command in commands)]
    assert not unused, "no page shows these any more"


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: f"{block.page.name}:{block.line}")
def test_commands_run_as_they_stand_and_make_the_files_they_name(block, tmp_path, set_folder):
    commands = [command for command in block.commands if not reason_not_to_run(command)]
    for command in commands:
        assert is_ours(command), f"neither run nor listed in NOT_RUN: {command}"
    if not commands:
        return
    furnish(tmp_path, block, set_folder)
    for command in commands:
        for name in outputs_of(command):
            (tmp_path / name).unlink(missing_ok=True)
        outcome = run_shell(command, tmp_path)
        assert outcome.returncode == 0, f"{command}\n{outcome.stderr}"
        for name in outputs_of(command):
            assert (tmp_path / name).is_file() and (tmp_path / name).stat().st_size > 0, f"{command}\nmade no {name}"


def test_the_python_of_the_readme_runs(tmp_path, set_folder, monkeypatch, capsys):
    blocks = [lines for _, language, lines in code_blocks((SOURCE / "README.md").read_text()) if language == "python"]
    assert blocks
    shutil.copytree(set_folder(SET_OF_APP["stamp"]), tmp_path, symlinks=True, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    for lines in blocks:
        exec(compile("\n".join(lines), "README.md", "exec"), {})
    assert "uncertainty_s" in capsys.readouterr().out
