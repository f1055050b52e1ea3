"""Every kind of page that the apps make, from small files: name -> (the set of files, the app, its words)."""

import functools
import pathlib
import subprocess

from example_files import SOURCE, bench, clocks, lines, stations
from shell_blocks import shell_blocks, words_of


def hidden_station(folder, run):
    """The two stations with an element left out of one chain."""
    stations(folder, run)
    sample = SOURCE / "sample_data/stations"
    run("chain", sample / "north.stamps.csv", "--setup", sample / "north.hidden.setup.json", "-o", "hidden.h5", "--quiet")


def tables(folder, run):
    """The tables that docs/delay.md shows below its commands."""
    for block in shell_blocks(SOURCE / "docs/delay.md"):
        if block.table:
            name = next(word for word in words_of(block.commands[0]) if word.endswith(".csv"))
            (folder / name).write_text(block.table + "\n")


APART = ["--distance", "412 m", "--distance-uncertainty", "10 mm", "--clock-uncertainty", "60 ps"]
SETUP = ["--setup", "bench.json"]
KINDS = {
    "inspect": (bench, "inspect", ["run.h5", *SETUP]),
    "stamp": (bench, "stamp", ["run.h5", *SETUP, "-o", "again.h5"]),
    "traces": (bench, "traces", ["run.h5", "--stamps", "stamps.h5", "--traces", "60"]),
    "jitter": (bench, "jitter", ["stamps.h5"]),
    "spectrum": (bench, "spectrum", ["stamps.h5", "--records", "run.h5"]),
    "compare": (bench, "compare", ["run.h5", *SETUP, "--bare", "bare", "--amplified", "amplified", "--records", "60",
                                   "--thresholds", "0.1,0.3", "--fractions", "0.3", "--delayed-fractions", "0.3", "--delays", "1",
                                   "--cuts", "0.7", "--walks", "height"]),
    "budget": (bench, "budget", ["run.h5", *SETUP]),
    "simulate": (lines, "simulate", ["run.plan.json", "-o", "again.h5"]),
    "delay_through": (lines, "delay", ["through", "run.h5", "--before", "near", "--after", "far", *SETUP]),
    "delay_reflection": (lines, "delay", ["reflection", "run.h5", "--channel", "echo", "--end", "open"]),
    "delay_closure": (tables, "delay", ["closure", "differences.csv", "--reference", "C"]),
    "delay_clock_trip": (tables, "delay", ["clock-trip", "visits.csv", "--home", "north", "--white-frequency", "1e-11"]),
    "delay_repeats": (tables, "delay", ["repeats", "repeats.csv", "--at", "20", "--temperature-uncertainty", "2"]),
    "chain": (hidden_station, "chain", ["stamps.h5", "--setup", "north.setup.json", "-o", "again.h5"]),
    "agree": (hidden_station, "agree", ["south.csv", "north.csv", "--distance", "412 m", "--momentum", "1000",
                                        "--momentum-uncertainty", "10", "--window", "100 ns"]),
    "agree_not": (hidden_station, "agree", ["south.h5", "hidden.h5", *APART]),
    "clock_convert": (clocks, "clock", ["convert", "2016-12-31T23:59:60Z", "MJD 57754.25"]),
    "clock_tie": (clocks, "clock", ["tie", "edges.csv", "--rate", "312.5e6", "--readings", "triggers.csv",
                                    "--reference-period", "100 ns"]),
    "clock_tie_pulses": (clocks, "clock", ["tie", "stamps.h5", "--channel", "pps"]),
    "clock_compare": (clocks, "clock", ["compare", "--first", "north/day.cgg", "--second", "south/day.cgg",
                                        "--third", "west/day.cgg", "--calibration-uncertainty", "2 ns"]),
}


class Pages:
    """Makes pages when they are asked for, each set of files once."""

    def __init__(self, programs, folder):
        self.programs, self.folder = programs, pathlib.Path(folder)
        self.page = functools.cache(self.page)
        self.files = functools.cache(self.files)

    def run(self, folder, verb, *words):
        subprocess.run([self.programs / f"firstedge-{verb}", *map(str, words)], cwd=folder, check=True,
                       stdout=subprocess.DEVNULL)

    def files(self, make):
        folder = self.folder / make.__name__
        folder.mkdir()
        make(folder, functools.partial(self.run, folder))
        return folder

    def page(self, name):
        """The file with the page of this name."""
        make, verb, words = KINDS[name]
        page = self.folder / f"{name}.html"
        self.run(self.files(make), verb, *words, "--quiet", "--page", page)
        return page
