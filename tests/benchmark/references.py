"""What the figures are compared with: each reference is run in a process of its own and prints its seconds,
the time to start Python and to load packages left out.

Usage: references.py NAME DATA [OUTPUT]
"""

import sys
import time
from pathlib import Path

import numpy as np

import data

BLOCK = 4096
WINDOW = slice(0, 300)  # of the baseline; the Setups of the run say the same
FRACTION = 0.3


def blocks(path):
    import h5py

    with h5py.File(path) as file:
        dataset = file["traces"]
        for first in range(0, len(dataset), BLOCK):
            yield dataset[first : first + BLOCK]


def h5py_read(path, _):
    """All samples read, in blocks, and nothing done with them."""
    for _block in blocks(path):
        pass


def least_squares_weights(offsets, degree, derivative):
    """Weights of samples at these offsets in a polynomial's value or slope at 0."""
    powers = np.vander(offsets, degree + 1, increasing=True)
    return np.linalg.pinv(powers)[derivative]


def fraction_of_block(counts):
    """Mean baseline, noise, search, height from a polynomial around the top, crossing of a quintic, slew by a fitted
    polynomial, charge, rise time, uncertainty: one row a trace."""
    volts = counts * data.VOLTS_PER_COUNT
    window = volts[:, WINDOW]
    baseline = window.mean(axis=1)
    noise = window.std(axis=1, ddof=1)
    volts -= baseline[:, None]
    rows = np.arange(len(volts))
    over = volts > 8 * noise[:, None]
    found = over.any(axis=1)
    peak = np.clip(volts.argmax(axis=1), 8, volts.shape[1] - 9)
    around = volts[rows[:, None], peak[:, None] + np.arange(-3, 4)]
    height = around @ least_squares_weights(np.arange(-3.0, 4.0), 4, 0)

    def last_below(level):
        edge = volts[rows[:, None], np.maximum(peak[:, None] - np.arange(40), 0)]
        below = (edge < level[:, None]).argmax(axis=1)
        return np.maximum(peak - below, 8)

    level = FRACTION * height
    before = last_below(level)
    six = volts[rows[:, None], before[:, None] + np.arange(-2, 4)]
    polynomial = six @ np.linalg.inv(np.vander(np.arange(-2.0, 4.0), 6, increasing=True)).T
    position = (level - six[:, 2]) / (six[:, 3] - six[:, 2])
    for _ in range(4):
        value = sum(polynomial[:, k] * position**k for k in range(6))
        slope = sum(k * polynomial[:, k] * position ** (k - 1) for k in range(1, 6))
        position -= (value - level) / slope
    ten = volts[rows[:, None], before[:, None] + np.arange(-4, 6)]
    slope = ten @ least_squares_weights(np.arange(-4.0, 6.0) - FRACTION, 5, 1)

    def straight(part):
        wanted = part * height
        sample = last_below(wanted)
        low, high = volts[rows, sample], volts[rows, np.minimum(sample + 1, volts.shape[1] - 1)]
        return sample + (wanted - low) / np.where(high == low, 1, high - low)

    duration = (straight(0.9) - straight(0.1)) * data.INTERVAL_S
    region = volts[rows[:, None], np.minimum(before[:, None] + np.arange(-4, 100), volts.shape[1] - 1)]
    charge = region.sum(axis=1) * data.INTERVAL_S / 50
    times = (before + position) * data.INTERVAL_S
    uncertainty = noise / slope * data.INTERVAL_S
    slew = slope / data.INTERVAL_S
    return np.column_stack([found, times, uncertainty, height, charge, slew, noise, duration, baseline])


def fraction_numpy(path, output):
    import h5py

    with h5py.File(output, "w") as file:
        table = file.create_dataset("stamps", (0, 9), "f8", chunks=(8192, 9), maxshape=(None, 9))
        for block in blocks(path):
            made = fraction_of_block(block)
            table.resize(len(table) + len(made), axis=0)
            table[-len(made) :] = made


def template_numpy(path, output):
    """The template fitted by a noise-weighted matched filter: Fourier transforms, the largest correlation, a parabola
    through its three highest points, then height and chi-square."""
    import h5py
    import scipy.fft

    made_of = next(blocks(path))[:2000] * data.VOLTS_PER_COUNT
    made_of -= made_of[:, WINDOW].mean(axis=1)[:, None]
    samples = made_of.shape[1]
    quiet = made_of[:, WINDOW]
    lines = np.abs(scipy.fft.rfft(quiet, samples, axis=1)) ** 2
    noise = lines.mean(axis=0) / quiet.shape[1]  # V^2 a sample
    shape = data.pulse(np.arange(samples) * data.INTERVAL_S - 20e-9)
    shape_lines = scipy.fft.rfft(shape)
    weights = np.conj(shape_lines) / noise
    norm = scipy.fft.irfft(weights * shape_lines, samples)[0]
    with h5py.File(output, "w") as file:
        table = file.create_dataset("stamps", (0, 5), "f8", chunks=(8192, 5), maxshape=(None, 5))
        for block in blocks(path):
            volts = block * data.VOLTS_PER_COUNT
            baseline = volts[:, WINDOW].mean(axis=1)
            volts -= baseline[:, None]
            spectrum = scipy.fft.rfft(volts, axis=1)
            matched = scipy.fft.irfft(spectrum * weights, samples, axis=1)
            rows = np.arange(len(volts))
            best = np.clip(matched.argmax(axis=1), 1, samples - 2)
            left, middle, right = (matched[rows, best + k] for k in (-1, 0, 1))
            part = 0.5 * (left - right) / (left - 2 * middle + right)
            height = (middle - 0.25 * (left - right) * part) / norm
            chi_square = (np.abs(spectrum) ** 2 / noise).sum(axis=1) * 2 / samples - height**2 * norm
            times = (best + part) * data.INTERVAL_S + 20e-9
            made = np.column_stack([times, height, baseline, chi_square, np.full(len(volts), 1 / np.sqrt(norm))])
            table.resize(len(table) + len(made), axis=0)
            table[-len(made) :] = made


def filter_scipy(path, _):
    """The filter alone, on samples that stand in memory as volts."""
    from scipy.signal import butter, sosfiltfilt

    sections = butter(8, 400e6, fs=1 / data.INTERVAL_S, output="sos")
    ready = [block * data.VOLTS_PER_COUNT for _, block in zip(range(5), blocks(path))]
    start = time.perf_counter()
    for volts in ready:
        sosfiltfilt(sections, volts, axis=1)
    return (time.perf_counter() - start) / sum(len(volts) for volts in ready)


def text_loadtxt(folder, _):
    for file in sorted(Path(folder).iterdir()):
        np.loadtxt(file, delimiter=",", skiprows=1)


def text_pandas(folder, _):
    import pandas

    start = time.perf_counter()
    for file in sorted(Path(folder).iterdir()):
        pandas.read_csv(file, engine="c")
    return time.perf_counter() - start


if __name__ == "__main__":
    name, source = sys.argv[1:3]
    target = sys.argv[3] if len(sys.argv) > 3 else None
    import h5py  # noqa: F401, so that loading it is not counted
    import scipy.fft  # noqa: F401

    began = time.perf_counter()
    own = globals()[name](source, target)
    print(own if own is not None else time.perf_counter() - began)
