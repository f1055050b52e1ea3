"""What the tests share: the bench set of the Skerry test line, stamped by the program and by the package."""

import functools
import json
import os
import pathlib
import subprocess
import sys

import h5py
import pytest

import firstedge

SOURCE = pathlib.Path(__file__).resolve().parents[2]


RECORDS = 450  # of the 2000: enough for every analysis


def without_provenance(result):
    """What was found, without the call that made it."""
    return {key: value for key, value in result.items() if key != "provenance"}


class Bench:
    """The files of the bench set, its records the first 450."""

    def __init__(self, folder):
        self.folder = folder
        self.records, self.setup, self.truth = (
            folder / name for name in ("bench.h5", "bench.setup.json", "bench.truth.h5")
        )


@pytest.fixture(scope="session")
def bench(tmp_path_factory):
    made = Bench(tmp_path_factory.mktemp("bench") / "sample_data")
    made.folder.mkdir()
    for file in (made.setup, made.truth):
        file.symlink_to(SOURCE / "sample_data" / file.name)
    with h5py.File(SOURCE / "sample_data" / "bench.h5") as whole, h5py.File(made.records, "w") as part:
        part.attrs.update(whole.attrs)

        def copy(name, data):
            if isinstance(data, h5py.Dataset):
                part.create_dataset(name, data=data[:RECORDS]).attrs.update(data.attrs)

        whole.visititems(copy)
    return made


@pytest.fixture(scope="session")
def run_app():
    """run_app("jitter", ...) runs firstedge-jitter; what it wrote to standard output."""

    def run(verb, *arguments):
        program = pathlib.Path(os.environ["FIRSTEDGE_BIN"]) / f"firstedge-{verb}"
        return subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout

    return run


@pytest.fixture(scope="session")
def app_table(tmp_path_factory, run_app, bench):
    """The bench set stamped by the program."""
    table = tmp_path_factory.mktemp("app") / "stamps.h5"
    run_app("stamp", bench.records, "--setup", bench.setup, "-o", table, "--quiet")
    return table


@pytest.fixture(scope="session")
def app_stamps(app_table):
    """Its rows as h5py reads them, without anything of ours."""
    with h5py.File(app_table) as file:
        return file["stamps"][:]


@pytest.fixture(scope="session")
def stamps(bench):
    """The bench set stamped by the package."""
    return firstedge.stamp(bench.records, bench.setup)


@pytest.fixture(scope="session")
def channels(bench):
    return firstedge.learn(bench.records, bench.setup)


@pytest.fixture(scope="session")
def json_of_app(run_app, tmp_path_factory):
    """json_of_app("jitter", ...): the result that the program writes, without its provenance."""

    def run(verb, *arguments):
        file = tmp_path_factory.mktemp("result") / "result.json"
        run_app(verb, *arguments, "--json", file, "--quiet")
        return without_provenance(json.loads(file.read_text()))

    return run


@pytest.fixture(scope="session")
def example(tmp_path_factory, run_app):
    """example("lines"): the folder of a set of tests/acceptance/documents/example_files.py, filled once."""
    sys.path.insert(0, str(SOURCE / "tests/acceptance/documents"))
    import example_files

    @functools.cache
    def made(name):
        folder = tmp_path_factory.mktemp(name)

        def run(verb, *words):
            program = pathlib.Path(os.environ["FIRSTEDGE_BIN"]) / f"firstedge-{verb}"
            subprocess.run([program, *map(str, words)], cwd=folder, check=True, stdout=subprocess.DEVNULL)

        getattr(example_files, name)(folder, run)
        return folder

    return made


@pytest.fixture(scope="session")
def jitter(stamps):
    return firstedge.jitter(stamps, [("bare", "amplified")])
