"""A first hour with Firstedge in Python: from your own CSV and NumPy arrays to a jitter figure that can be defended.

    PYTHONPATH=build/release/python /usr/bin/python3 -P bindings/python/tutorial.py [FOLDER]

Run it as it stands, or cell by cell in an editor that knows "# %%". Figures and pages are written into FOLDER (here,
without one). The data are simulated, so that every answer can be held against the truth. docs/tutorial.md walks through
it and shows what it prints. (-P: beside this script lie the package's sources, which are not to be imported.)
"""

# %% Two detectors see the same particle. What was recorded? Here: two arrays, a trace a row, and a CSV of one trace.
import pathlib
import sys

import matplotlib
import numpy

import firstedge

matplotlib.use("Agg")
from matplotlib import pyplot  # noqa: E402

folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else ".")

detector = {"shape": {"band": "500 MHz"}, "intrinsic_spread": "15 ps", "polarity": "negative", "noise": {"white": "1 mV"},
            "heights": {"kind": "landau", "most_probable": "60 mV", "width": "6 mV"}, "digitizer": {"full_scale": "0.4 V"}}
plan = {"title": "two detectors", "seed": 2026, "records": 1500, "samples": 400, "interval": "0.2 ns",
        "first_sample": "-30 ns", "channels": [{"name": "upstream", **detector},
                                               {"name": "downstream", "delay": "1.25 ns", **detector}]}
block, truth = firstedge.simulate(plan)
interval_s = block["upstream"].interval_s
upstream, downstream = (block[name].volts() for name in ("upstream", "downstream"))
numpy.savetxt(folder / "one.csv", numpy.column_stack([block["upstream"][0].times_s(), upstream[0]]), delimiter=",")
print(f"{len(upstream)} records of {upstream.shape[1]} samples every {interval_s * 1e9:g} ns")

# %% Look first: ten traces, and what the library says of a file. A CSV needs no description when its columns are plain.
figure, axes = pyplot.subplots()
axes.plot(numpy.arange(upstream.shape[1]) * interval_s * 1e9, upstream[:10].T * 1e3, linewidth=0.7)
axes.set(xlabel="time / ns", ylabel="upstream / mV")
figure.savefig(folder / "traces.png")

record = next(iter(firstedge.open_records(folder / "one.csv")))
print(f"the CSV has {len(record[record.channels[0]])} samples")

# %% How large is the noise? Samples before the pulse say; the spectrum says whether it is white.
quiet = numpy.ascontiguousarray(upstream[:, :128])
noise = firstedge.NoiseModel.learn(quiet - quiet.mean(axis=1, keepdims=True), interval_s)
frequency_hz, density = firstedge.welch(quiet, interval_s, 128)
print(f"noise {noise.rms_v * 1e3:.2f} mV; highest over lowest density {density[3:-3].max() / density[3:-3].min():.1f}")

figure, axes = pyplot.subplots()
axes.semilogy(frequency_hz * 1e-9, numpy.sqrt(density) * 1e9)
axes.set(xlabel="frequency / GHz", ylabel="noise / nV/√Hz")
figure.savefig(folder / "noise.png")

# %% One method by hand: when does each pulse cross 30 % of its own height?
stamps = firstedge.constant_fraction(upstream, interval_s, fraction=0.3)
print(f"{len(stamps)} pulses, stated uncertainty {numpy.median(stamps['uncertainty_s']) * 1e12:.0f} ps (median)")

# %% Which method? Learn noise and mean pulse of both channels, and time every pulse by three methods.
setup = {"every_channel": {"search": {"polarity": "negative"}, "timing": [
    {"method": "leading_edge", "threshold": "15 mV"}, {"method": "constant_fraction", "fraction": 0.3},
    {"method": "template_fit"}]}}
channels = firstedge.learn({name: block[name] for name in block.channels}, setup)
made = [channels[name].stamp(block[name]) for name in block.channels]
methods = channels["upstream"].methods
for number, method in enumerate(methods):
    here, there = (one[(one["pulse"] == 0) & (one["method"] == number) & (one["flags"] == 0)] for one in made)
    _, i, k = numpy.intersect1d(here["record"], there["record"], return_indices=True)
    difference_s = there["time_s"][k] - here["time_s"][i]
    low, high = numpy.quantile(difference_s, [0.1587, 0.8413])
    print(f"{method.split(',')[0]:18s} half of the middle 68 %: {(high - low) / 2 * 1e12:5.1f} ps")

# %% Jitter, with everything that must stand beside it: bound, tails, pulls, and what it says of each detector.
table = numpy.concatenate(made)
table["channel"][len(made[0]):] = 1
table = table[numpy.argsort(table["record"], kind="stable")]
stamps = firstedge.Stamps(table, block.channels, methods, "two detectors")
jitter = firstedge.jitter(stamps, [("downstream", "upstream")])
print(jitter.answer)
print(f"deviation over bound {jitter.deviation_over_bound.value:.2f}, within one uncertainty {jitter.pulls_within_1.value:.2f}")

figure, axes = pyplot.subplots()
plot = jitter["plots"]["differences_1"]
for series in plot["series"]:
    style = "steps-mid" if series["kind"] == "bars" else "default"
    axes.plot(numpy.array(series["x"]) * 1e9, series["y"], label=series["label"], drawstyle=style)
axes.set(xlabel="downstream less upstream / ns", ylabel="pairs in a bin")
axes.legend()
figure.savefig(folder / "jitter.png")

# %% Against the truth: the delay of 1.25 ns, within what is stated?
mean = jitter.mean
pull = (mean.value - 1.25e-9) / mean.uncertainty
print(f"delay {mean.value * 1e9:.4f} ns, off by {abs(pull):.1f} standard uncertainties")

# %% Pages for people: one HTML file each, which open offline.
jitter.page(folder / "jitter.html")
firstedge.spectrum(stamps).page(folder / "spectrum.html")
print(*sorted(file.name for file in folder.iterdir() if file.suffix in (".html", ".png")))
