"""Data for the benchmark: traces of a fast detector as a digitizer would write them.

1,000 samples of int16 at 5 GS/s, one positive pulse in each of 0.9 ns edge and 3 ns decay between samples 350
and 450, heights from 40 to 160 mV, noise of 1.2 mV that is correlated over three samples, 0.1 mV a count.

Usage: data.py hdf5 FILE TRACES SAMPLES DEFLATE_LEVEL, or data.py text FOLDER TRACES
"""

import sys
from pathlib import Path

import numpy as np

INTERVAL_S = 0.2e-9
VOLTS_PER_COUNT = 1e-4
SCALE = {"interval": "0.2 ns", "volts_per_count": "0.1 mV"}


def pulse(times_s):
    """Height 1: a rise by a Gaussian edge of 0.9 ns (10 % to 90 %), then an exponential decay of 3 ns."""
    from scipy.special import erfc

    sigma, decay = 0.9e-9 / 2.563, 3e-9
    shape = np.exp(-times_s / decay + (sigma / decay) ** 2 / 2) * erfc((sigma / decay - times_s / sigma) / np.sqrt(2))
    return shape / 1.58  # of this edge and decay, the maximum


def traces(count, samples, generator):
    """Counts, shape (count, samples), int16."""
    start = generator.uniform(0.35, 0.45, count) * samples * INTERVAL_S
    height = generator.uniform(0.04, 0.16, count)
    white = generator.standard_normal((count, samples + 2), dtype=np.float32) * 0.7e-3
    noise = white[:, 1:-1] + 0.5 * (white[:, :-2] + white[:, 2:])
    volts = noise.copy()
    reach = int(30e-9 / INTERVAL_S)  # from 2 ns before the pulse
    first = np.maximum((start / INTERVAL_S).astype(int) - 10, 0)
    index = np.minimum(first[:, None] + np.arange(reach + 10), samples - 1)
    shape = height[:, None] * pulse(index * INTERVAL_S - start[:, None])
    rows = np.arange(count)[:, None]
    volts[rows, index] = noise[rows, index] + shape
    return np.clip(np.rint(volts / VOLTS_PER_COUNT), -32768, 32767).astype(np.int16)


def write_hdf5(path, count, samples=1000, deflate_level=0, seed=1):
    """A dataset "traces", shape (count, samples). Blocks of 16,384 different traces, over and over."""
    import h5py

    generator = np.random.default_rng(seed)
    some = traces(min(count, 16384), samples, generator)
    with h5py.File(path, "w", libver="v108") as file:
        options = {}
        if deflate_level:
            options = {"chunks": (64, samples), "compression": "gzip", "compression_opts": deflate_level, "shuffle": True}
        dataset = file.create_dataset("traces", (count, samples), "i2", **options)
        for first in range(0, count, len(some)):
            part = min(len(some), count - first)
            dataset[first : first + part] = some[:part]


def write_text(folder, count, samples=1000, seed=1):
    """One file a trigger: time in s and volts, with a header line."""
    generator = np.random.default_rng(seed)
    times = [f"{t:.6e}," for t in np.arange(samples) * INTERVAL_S]
    made = traces(count, samples, generator)
    volts = {value: f"{value * VOLTS_PER_COUNT:.4f}" for value in np.unique(made).tolist()}
    for i, trace in enumerate(made):
        lines = [time + volts[value] for time, value in zip(times, trace.tolist())]
        (folder / f"trigger_{i:06d}.csv").write_text("time (s),voltage (V)\n" + "\n".join(lines) + "\n")


if __name__ == "__main__":
    kind, where, *numbers = sys.argv[1:]
    if kind == "hdf5":
        write_hdf5(where, *(int(number) for number in numbers))
    else:
        write_text(Path(where), *(int(number) for number in numbers))
