"""A first hour with Firstedge in Python, on the bench set of the Skerry test line.

    PYTHONPATH=build/release/python /usr/bin/python3 bindings/python/tutorial.py sample_data

Two diamond sensors see the same particle; one is bare, the other stands behind an amplifier. How well do they agree?
"""

import pathlib
import sys

import numpy

import firstedge

data = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else "sample_data")

# 1. What was recorded? Records are read block by block; traces are NumPy arrays of the digitizer's own counts.
records = firstedge.open_records(data / "bench.h5")
print(records)
record = next(iter(records))
trace = record["amplified"]
print(f"record {record.index} at {record.trigger}: {len(trace)} samples of {trace.counts.dtype}")
print(f"lowest sample: {trace.volts().min() * 1e3:.1f} mV at {trace.times_s()[trace.volts().argmin()] * 1e9:.1f} ns")

# 2. Time the whole run as the Setup says: noise and pulse shapes are learnt from its first records.
stamps = firstedge.stamp(data / "bench.h5", data / "bench.setup.json")
print(stamps)
print(stamps.summary.answer)

# 3. Look at the stamps with pandas: one row a pulse and method.
frame = stamps.frame()
good = frame[frame["flags"] == 0]
median_s = good.groupby(["channel", "method"], observed=True)["uncertainty_s"].median()
print(median_s.mul(1e12).round(1).rename("median uncertainty, ps"))

# 4. How well do the two sensors agree, and how well could they at all?
jitter = firstedge.jitter(stamps, [("bare", "amplified")])
print(jitter.answer)
print(jitter.frame("pairs").iloc[0])
jitter.write_page("jitter.html")
print("jitter.html shows it all")

# 5. The same by hand: a histogram of the differences of the template fit.
bare = stamps.select("bare", "template_fit", pulse=0).frame().set_index("record")
amplified = stamps.select("amplified", "template_fit", pulse=0).frame().set_index("record")
both = bare.join(amplified, rsuffix="_amplified", how="inner").query("flags == 0 and flags_amplified == 0")
difference_ps = (both["time_s"] - both["time_s_amplified"]).to_numpy() * 1e12
low, middle, high = numpy.quantile(difference_ps, [0.1587, 0.5, 0.8413])
counts, edges = numpy.histogram(difference_ps - middle, bins=15, range=(-100, 100))
for count, left in zip(counts, edges):
    print(f"{left:7.1f} ps {'#' * round(60 * count / counts.max())}")
print(f"half width of the middle 68 %: {(high - low) / 2:.1f} ps over {len(both)} records")

# 6. One method on arrays of your own: a block of shape (records, samples) in, stamps out.
block = next(records.blocks(200))["amplified"]
own = firstedge.constant_fraction(block.volts(), block.interval_s, fraction=0.3)
print(f"{len(own)} pulses, median uncertainty {numpy.median(own['uncertainty_s']) * 1e12:.1f} ps")
