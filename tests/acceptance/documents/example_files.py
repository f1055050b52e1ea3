"""The files that the documents' commands name, made small: one function a set, which fills a folder.

`run` is called with the verb of an app and its words, and runs it in that folder.
"""

import json
import pathlib

import h5py
import numpy

SOURCE = pathlib.Path(__file__).resolve().parents[3]
RECORDS = 120  # of the bench set's 2000: enough for every analysis
FIRST_DAY_MJD = 61369  # 2026-11-25
FIRST_DAY = "2026-11-25"
FIRST_DAY_SECONDS = 1795564800  # from 1970-01-01, the days between being of 86,400 s


def text_files(folder):
    """The records of run.h5 as text, a file a trigger in the folder scope: a line of names, one of units, numbers."""
    with h5py.File(folder / "run.h5") as run:
        channels = [run["channels"][name.decode()] for name in run["channels"].attrs["order"]]
        facts = channels[0].attrs
        columns = [facts["first_sample_s"] + facts["interval_s"] * numpy.arange(channels[0].shape[1])]
        volts = [(each[:] * each.attrs["volts_per_count"]) + each.attrs["offset_v"] for each in channels]
    (folder / "scope").mkdir()
    for record in range(RECORDS):
        rows = numpy.column_stack(columns + [channel[record] for channel in volts])
        numpy.savetxt(folder / f"scope/trigger_{record:05d}.csv", rows, fmt="%.7g", delimiter=",", comments="",
                      header="time,bare,amplified\ns,V,V")


def bench(folder, run):
    """The first records of the bench set, its Setup and its stamps."""
    with h5py.File(SOURCE / "sample_data/bench.h5") as whole, h5py.File(folder / "run.h5", "w") as part:
        part.attrs.update(whole.attrs)

        def copy(name, data):
            if isinstance(data, h5py.Dataset):
                part.create_dataset(name, data=data[:RECORDS]).attrs.update(data.attrs)
            else:
                part.require_group(name).attrs.update(data.attrs)

        whole.visititems(copy)
    text_files(folder)
    (folder / "bench.json").symlink_to(SOURCE / "sample_data/bench.setup.json")
    run("stamp", "run.h5", "--setup", "bench.json", "-o", "stamps.h5", "--quiet")


def hdf5_table(folder, run, csv, hdf5, channels):
    """A stamp table of text as HDF5: chains without elements taken out and put back."""
    empty = {"channels": [{"name": name, "chain": []} for name in channels]}
    (folder / "empty.setup.json").write_text(json.dumps(empty))
    run("chain", csv, "--setup", "empty.setup.json", "--date", FIRST_DAY, "-o", "without.h5", "--quiet")
    run("chain", "without.h5", "--put-back", "-o", hdf5)


def stations(folder, run):
    """The two-station set, before and after its delays are taken out, and instants of both stations as tables."""
    sample = SOURCE / "sample_data/stations"
    (folder / "north.setup.json").symlink_to(sample / "north.setup.json")
    hdf5_table(folder, run, sample / "north.stamps.csv", "stamps.h5", ["plate", "diamond"])
    for name in ("south", "north"):
        setup = sample / f"{name}.setup.json"
        run("chain", sample / f"{name}.stamps.csv", "--setup", setup, "-o", f"{name}.h5", "--quiet")
    # Light takes 1374.3 ns for 412 m; one arrival scatters by 50 ps.
    random = numpy.random.default_rng(20261103)
    passages_ps = numpy.cumsum(random.exponential(2.8e11, 100)).astype("int64")
    for name, later_ps in (("south", 0), ("north", 1_374_300)):
        arrivals_ps = passages_ps + later_ps + random.normal(0, 50, 100).astype("int64")
        instants = [f"{FIRST_DAY}T10:{ps // (60 * 10**12):02d}:{ps // 10**12 % 60:02d}.{ps % 10**12:012d}Z"
                    for ps in arrivals_ps]
        (folder / f"{name}.csv").write_text("\n".join(["instant"] + instants) + "\n")


def lines(folder, run):
    """Simulated cables: near, far and echo in one run; and the same channel before and after a cable in two."""

    def channel(name, line=None):
        return {"name": name, "shape": {"line": line} if line else {}, "heights": {"height": "60 mV"},
                "noise": {"white": "1 mV"}, "digitizer": {"full_scale": "0.25 V"}}

    cable = {"delay": "20 ns", "skin": "0.1 ns"}
    echo = {"delay": "40 ns", "skin": "0.1 ns", "end": "open", "seen_at": "near_end"}
    for name, channels in (("run", [channel("near"), channel("far", cable), channel("echo", echo)]),
                           ("before", [channel("near")]), ("after", [channel("near", cable)])):
        plan = {"title": "a cable", "seed": 5, "records": 60, "samples": 600, "interval": "0.2 ns",
                "first_sample": "-25 ns", "channels": channels}
        (folder / f"{name}.plan.json").write_text(json.dumps(plan))
        run("simulate", f"{name}.plan.json", "-o", f"{name}.h5", "--quiet")
    (folder / "bench.json").write_text(json.dumps({"title": "a cable", "learning_records": 60}))


def second_pulses(folder, run):
    """A stamp table with the channel pps: pulses 30 ns after triggers, dated by a digitizer's clock 2e-6 fast."""
    channel = {"name": "pps", "sensor": "", "interval_s": 2e-10, "load_ohm": 50.0, "noise_v": 1e-3}
    provenance = {"program": "", "version": "", "command": "", "inputs": [], "setup": "", "options": {}}
    head = ["# firstedge stamp table 1", '# title: "Skerry test line"', "# channel: " + json.dumps(channel),
            '# method: {"name": "leading_edge", "settings": ""}', "# provenance: " + json.dumps(provenance),
            "record,channel,method,pulse,polarity,time_s,uncertainty_s,bound_s,height_v,charge_c,slew_v_per_s,noise_v,"
            "transition_duration_s,baseline_v,goodness,flags"]
    rows = [f"{record},pps,leading_edge,0,1,3e-08,1e-10,,0.5,,,0.001,,,," for record in range(120)]
    triggers = []
    for record in range(120):
        femtoseconds = record * (10**15 + 2 * 10**9) + 2 * 10**14  # 0.2 s late
        second = FIRST_DAY_SECONDS + femtoseconds // 10**15
        triggers.append(f"# trigger: {record},UTC,{second},{femtoseconds % 10**15}")
    (folder / "pps.csv").write_text("\n".join(head + rows + triggers) + "\n")
    hdf5_table(folder, run, "pps.csv", "stamps.h5", ["pps"])


def checksum(text):
    """Of the CGGTTS format, version 2E: the sum of the bytes, two hexadecimal digits."""
    return f"{sum(text.encode()) % 256:02X}"


def cggtts(station, tracks):
    """A file of the CGGTTS format, version 2E; tracks: (satellite, second of the day, clock less system in 0.1 ns)."""
    head = ["CGGTTS     GENERIC DATA FORMAT VERSION = 2E", "REV DATE = 2026-01-01", "RCVR = INVENTED R1 0001 2026",
            "CH = 32", "IMS = INVENTED R1 0001 2026", f"LAB = {station}", "X = +3500000.10 m", "Y = -120000.20 m",
            "Z = +5300000.30 m", "FRAME = ITRF", "COMMENTS = INVENTED",
            "INT DLY = 32.9 ns (GPS P1), -8.1 ns (GPS P2)     CAL_ID = SKERRY-1", "CAB DLY = 155.5 ns",
            "REF DLY = 10.0 ns", f"REF = UTC({station})", "CKSUM = "]
    titles = ["SAT CL  MJD  STTIME TRKL ELV AZTH   REFSV      SRSV     REFSYS    SRSYS  DSG IOE MDTR SMDT MDIO SMDI "
              "MSIO SMSI ISG FR HC FRC CK",
              "             hhmmss  s  .1dg .1dg    .1ns     .1ps/s     .1ns    .1ps/s .1ns     "
              ".1ns.1ps/s.1ns.1ps/s.1ns.1ps/s.1ns            "]
    text = "\n".join(head) + checksum("".join(head)) + "\n\n" + "\n".join(titles) + "\n"
    for satellite, second, tenths in tracks:
        clock = f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}"
        line = (f"G{satellite:02d} FF {FIRST_DAY_MJD} {clock} 0780  450 1200 {1234567:+11d} {12:+6d} {tenths:+11d} "
                f"{0:+6d} {20:4d} {7:03d} {71:4d} {2:+4d} {33:4d} {-4:+4d} {34:4d} {5:+4d} {6:3d} {0:2d} {0:2d} L3P ")
        text += line + checksum(line) + "\n"
    return text


def common_view(folder):
    """A day of three stations' tracks, 2 ns each, in the folders north, south and west."""
    random = numpy.random.default_rng(20261125)
    # The format's schedule: 89 tracks a day, every 16 min, on 1997-10-01 from 00:02 on and 4 min earlier each day.
    first_min = 2 - 4 * (FIRST_DAY_MJD - 50722)
    starts = sorted((first_min + 16 * track) % 1436 * 60 for track in range(89))
    for station, tenths in (("north", 1200), ("south", -450), ("west", 300)):
        tracks = [(satellite, start, tenths + round(random.normal(0, 20)))
                  for start in starts for satellite in range(1, 9)]
        (folder / station).mkdir()
        (folder / station / "day.cgg").write_text(cggtts("SK" + station[0].upper(), tracks))


def clocks(folder, run):
    """A counter's edges and readings, a stamp table with pulses per second, and three stations' tracks."""
    (folder / "edges.csv").symlink_to(SOURCE / "sample_data/stations/north.edges.csv")
    (folder / "triggers.csv").write_text("counter\n1800000000.25\n2500000000\n9123456789.5\n")
    second_pulses(folder, run)
    common_view(folder)


SET_OF_APP = {"inspect": bench, "stamp": bench, "jitter": bench, "spectrum": bench, "compare": bench, "budget": bench,
              "traces": bench, "simulate": bench, "chain": stations, "agree": stations, "delay": lines, "clock": clocks}
