#!/usr/bin/python3
"""Makes the two-station set of the Skerry test line, which is invented: bench delays of every element, the Setups of
both stations, pulses per second, and the arrivals of the same bunches at both. Needs NumPy. The same on every run.

Truth: every delay is off by an amount drawn from its stated uncertainty, and so are distance and clocks; nothing else.
north.hidden.setup.json is the north station's Setup by somebody who forgot the patch lead (3.1 ns) in one chain."""
import json
import pathlib

import numpy

HERE = pathlib.Path(__file__).parent
RANDOM = numpy.random.Generator(numpy.random.PCG64(20261103))
FS = 10**15  # femtoseconds in a second
START = 1793700000  # 2026-11-03T10:00:00Z, seconds since 1970-01-01
BUNCHES = 400
LIGHT_FS_PER_M = FS / 299792458
DISTANCE_M, DISTANCE_U_M = 412.0, 0.010
CLOCK_U_NS = 0.06
TRIGGER_TICK_FS = 8 * 10**6

# name: (delay ns, standard uncertainty ps of one reading, readings); type A
CABLES = {
    "south": {"S plate cable": (251.4, 110, 10), "S diamond cable": (249.8, 110, 10), "S trigger line": (31.2, 60, 6)},
    "north": {"N plate cable": (198.7, 110, 10), "N diamond cable": (201.1, 110, 10), "N trigger line": (28.4, 60, 6),
              "N patch lead": (3.1, 25, 6)},
}
# name: (delay ns, standard uncertainty ps, distribution, method); type B
BOXES = {
    "south": {"S plate": (2.10, 20, "rectangular", "drawing of the plate"),
              "S diamond": (1.85, 25, "normal", "laser on the sensor"),
              "S amplifier": (3.42, 15, "triangular", "data of the maker, checked"),
              "S input 1": (0.62, 12, "rectangular", "swap of two inputs"),
              "S input 2": (0.58, 12, "rectangular", "swap of two inputs")},
    "north": {"N plate": (2.15, 20, "rectangular", "drawing of the plate"),
              "N diamond": (1.80, 25, "normal", "laser on the sensor"),
              "N amplifier": (3.51, 15, "triangular", "data of the maker, checked"),
              "N input 1": (0.66, 12, "rectangular", "swap of two inputs"),
              "N input 2": (0.55, 12, "rectangular", "swap of two inputs")},
}
CHAINS = {
    "south": {"plate": ["S plate", "S plate cable", "S trigger line", "S input 1"],
              "diamond": ["S diamond", "S amplifier", "S diamond cable", "S trigger line", "S input 2"]},
    "north": {"plate": ["N plate", "N plate cable", "N trigger line", "N input 1"],
              "diamond": ["N diamond", "N amplifier", "N diamond cable", "N patch lead", "N trigger line", "N input 2"]},
}
# what one arrival scatters by, ps: (template_fit, constant_fraction), and the pulse heights, V
SCATTER = {"plate": (35, 48), "diamond": (45, 60)}
HEIGHT = {"plate": 0.30, "diamond": 0.18}
METHODS = [("template_fit", ""), ("constant_fraction", "fraction=0.3")]
COLUMNS = ("record,channel,method,pulse,polarity,time_s,uncertainty_s,bound_s,height_v,charge_c,slew_v_per_s,noise_v,"
           "transition_duration_s,baseline_v,goodness,flags")


def measure(station):
    """Elements as the bench found them, the readings of cables, and the true delays in ns."""
    elements, readings, truth = [], [], {}
    for name, (delay, spread, count) in CABLES[station].items():
        truth[name] = delay + RANDOM.normal(0, 0.03)
        read = numpy.round(truth[name] + RANDOM.normal(0, spread * 1e-3, count), 4)
        readings += [(name, value) for value in read]
        elements.append({"name": name, "delay": f"{read.mean():.4f} ns",
                         "uncertainty": f"{1e3 * read.std(ddof=1) / count**0.5:.2f} ps", "type": "A",
                         "degrees_of_freedom": count - 1, "method": "through, network of two ports",
                         "measured": "2026-10-05", "valid_from": "2026-10-05", "valid_until": "2027-10-04",
                         "temperature_coefficient": {"ppm_per_kelvin": 25, "uncertainty_ppm_per_kelvin": 8,
                                                     "at_celsius": 21.5}})
    for name, (delay, uncertainty, distribution, method) in BOXES[station].items():
        # The truth lies inside the stated distribution: a rectangle's half width is 1.73 uncertainties.
        truth[name] = delay + 1e-3 * uncertainty * RANDOM.uniform(-1, 1)
        elements.append({"name": name, "delay": f"{delay} ns", "uncertainty": f"{uncertainty} ps", "type": "B",
                         "distribution": distribution, "method": method, "measured": "2026-10-06"})
    return elements, readings, truth


def setup(station, elements, chains, kelvins):
    return {"title": f"Skerry test line, {station} station", "temperature": {"celsius": 21.5 + kelvins, "uncertainty": 0.8},
            "elements": elements, "channels": [{"name": name, "chain": chain} for name, chain in chains.items()]}


def instant(femtoseconds):
    return START + femtoseconds // FS, femtoseconds % FS


def stamps(station, arrivals, truth, clock_fs, kelvins):
    """A stamp table of the arrivals (fs from START, at the station), as firstedge-stamp would write it."""
    factor = 1 + 25e-6 * kelvins
    delay_fs = {channel: sum(truth[name] * (factor if name in CABLES[station] else 1) for name in chain) * 1e6
                for channel, chain in CHAINS[station].items()}
    head = ["# firstedge stamp table 1", f'# title: "Skerry test line, {station} station"']
    for channel in CHAINS[station]:
        head.append('# channel: ' + json.dumps({"name": channel, "sensor": "", "interval_s": 2e-10, "load_ohm": 50.0,
                                                "noise_v": 1e-3}))
    for name, settings in METHODS:
        head.append('# method: ' + json.dumps({"name": name, "settings": settings}))
    head.append('# provenance: ' + json.dumps({"program": "make.py", "version": "", "command": "", "inputs": [],
                                               "setup": "", "options": {}}))
    rows, triggers = [], []
    for record, arrival in enumerate(arrivals):
        recorded = {channel: arrival + clock_fs + delay for channel, delay in delay_fs.items()}
        trigger = int(min(recorded.values())) // TRIGGER_TICK_FS * TRIGGER_TICK_FS
        triggers.append("# trigger: {},UTC,{},{}".format(record, *instant(trigger)))
        for channel, when in recorded.items():
            height = HEIGHT[channel] * (1 + 0.2 * RANDOM.standard_normal())
            clipped = RANDOM.uniform() < 0.01
            for (name, settings), spread in zip(METHODS, SCATTER[channel]):
                time_s = (when - trigger) * 1e-15 + RANDOM.normal(0, spread) * 1e-12
                label = f"{name}({settings})" if settings else name
                rows.append(f"{record},{channel},{label},0,-1,{time_s:.6e},{spread * 1e-12:.3g},,{height:.4f},,,0.001,,,,"
                            + ("clipped" if clipped else ""))
    return "\n".join(head + [COLUMNS] + rows + triggers) + "\n"


def pulses_per_second(rate_hz, offset):
    """Counter readings at the edges of a receiver's pulses, as firstedge-clock reads them."""
    lines = ["counter,second"]
    for second in range(-2, 128):
        if second == 37:  # one missed
            continue
        counter = (second + 5.25) * rate_hz * (1 + offset) + RANDOM.normal(0, 0.4)
        lines.append(f"{counter:.3f}," + (f"2026-11-03T10:{second // 60:02d}:{second % 60:02d}Z" if second >= 0 else ""))
    return "\n".join(lines) + "\n"


def write(name, text):
    (HERE / name).write_text(text)


def main():
    found = {station: measure(station) for station in ("south", "north")}
    bench = ["element,reading_ns"]
    for station in found:
        bench += [f"{name},{value:.4f}" for name, value in found[station][1]]
    write("bench_delays.csv", "\n".join(bench) + "\n")

    kelvins = {"south": -1.5, "north": 0.5}
    for station, (elements, _, _) in found.items():
        write(f"{station}.setup.json", json.dumps(setup(station, elements, CHAINS[station], kelvins[station]), indent=1))
    forgotten = {channel: [name for name in chain if name != "N patch lead"] for channel, chain in CHAINS["north"].items()}
    write("north.hidden.setup.json", json.dumps(setup("north", found["north"][0], forgotten, kelvins["north"]), indent=1))

    gaps = RANDOM.exponential(0.28, BUNCHES) + 0.01
    passages = [int(t) for t in numpy.cumsum(gaps) * FS]
    travel_fs = (DISTANCE_M + RANDOM.normal(0, DISTANCE_U_M)) * LIGHT_FS_PER_M
    for station, away in (("south", 0.0), ("north", travel_fs)):
        arrivals = [t + away for t in passages if RANDOM.uniform() > 0.04]
        arrivals += [float(t) for t in RANDOM.uniform(0, 120, 12) * FS]  # of nothing
        # A second passage 0.15 ns after the first: nobody can say which of two belongs to which.
        arrivals += [arrivals[i] + 150_000 for i in (50, 150, 250)] if station == "north" else []
        clock_fs = RANDOM.normal(0, CLOCK_U_NS) * 1e6
        write(f"{station}.stamps.csv",
              stamps(station, sorted(arrivals), found[station][2], clock_fs, kelvins[station]))
        write(f"{station}.edges.csv", pulses_per_second(312.5e6, RANDOM.normal(0, 2e-8)))


main()
