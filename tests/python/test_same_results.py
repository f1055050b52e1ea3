"""Promise: every analysis of the programs is there, and finds the same, bit for bit."""

import csv
import json
import os
import pathlib
import subprocess
import tempfile

import h5py
import numpy
import pytest
from conftest import without_provenance

import firstedge


def same(result, expected):
    """Every figure, table, plot and sentence, as JSON has them: numbers with all their digits."""
    assert json.loads(json.dumps(without_provenance(result))) == expected
    assert json.loads(result.json()) == dict(result)
    assert result.answer == expected["answer"]
    for name, table in expected["tables"].items():
        assert len(result.frame(name)) == len(table["rows"])


def test_jitter(jitter, app_table, json_of_app):
    same(jitter, json_of_app("jitter", app_table, "--pair", "bare,amplified"))


def test_spectrum(app_table, json_of_app, bench):
    same(firstedge.spectrum(app_table, bench.records), json_of_app("spectrum", app_table, "--records", bench.records))


def test_inspect(json_of_app, bench):
    few = json_of_app("inspect", bench.records, "--setup", bench.setup, "--records", "100")
    same(firstedge.inspect(bench.records, bench.setup, most_records=100), few)


def test_compare(json_of_app, bench):
    scan = ["--fractions", "0.3,0.5", "--thresholds", "0.3", "--delayed-fractions", "0.3", "--delays", "1",
            "--cuts", "1.5", "--without-template", "--records", "80"]
    expected = json_of_app(
        "compare", bench.records, "--setup", bench.setup, "--bare", "bare", "--amplified", "amplified", *scan
    )
    found = firstedge.compare(
        bench.records, bench.setup, bare="bare", amplified="amplified", fractions=[0.3, 0.5], thresholds=[0.3],
        delayed_fractions=[0.3], delays=[1.0], cuts=[1.5], template_fit=False, most_records=80
    )
    same(found, expected)


def test_budget(json_of_app, bench):
    few = json_of_app("budget", bench.records, "--setup", bench.setup, "--records", "150")
    same(firstedge.budget(bench.records, bench.setup, most_records=150), few)


@pytest.fixture
def no_files(monkeypatch):
    """Files that nobody asked for cannot be made."""
    monkeypatch.setattr(tempfile, "tempdir", "/nowhere")


def test_browse(json_of_app, bench, app_table, stamps, tmp_path, no_files):
    expected = json_of_app("traces", bench.records, "--stamps", app_table, "--traces", "40")
    browser = firstedge.browse(bench.records, app_table, most_traces=40)
    same(browser, expected)
    of_memory = firstedge.browse(bench.records, stamps, most_traces=40)
    assert without_provenance(of_memory) == expected
    assert [file["name"] for file in of_memory.provenance["inputs"]] == [bench.records.name]
    with pytest.raises(firstedge.Error, match="^stamps: has no method 'guess'"):
        firstedge.browse(bench.records, stamps, method="guess")
    with pytest.raises(firstedge.Error, match="^stamps: holds no stamp"):
        firstedge.browse(bench.records, stamps.where(stamps["record"] < 0))
    browser.page(tmp_path / "traces.html")
    assert (tmp_path / "traces.html").stat().st_size > 100_000
    assert sum(len(at) for at in browser.groups.values()) >= len(browser.traces) > 0
    with h5py.File(bench.records) as file:
        for trace in browser.traces[:5]:
            data = file["channels"][trace.channel]
            volts = data[trace.record] * data.attrs["volts_per_count"] + data.attrs["offset_v"]
            recorded = trace.recorded_volts if len(trace.recorded_volts) else trace.volts
            first = round((trace.first_sample_s - data.attrs["first_sample_s"]) / trace.interval_s)
            # The level was taken away and put back: two roundings of the largest volt.
            allowed = 2 * numpy.spacing(abs(volts).max())
            numpy.testing.assert_allclose(recorded, volts[first:first + len(recorded)], rtol=0, atol=allowed)
            assert set(trace.stamps["record"]) == {trace.record}


def test_chain(example, json_of_app, run_app, tmp_path):
    sample = example("stations")
    table, setup, output = sample / "stamps.h5", sample / "north.setup.json", tmp_path / "out.h5"
    expected = json_of_app("chain", table, "--setup", setup, "-o", output)
    without, result = firstedge.chain(table, setup)
    same(result, expected)
    assert without.array.tobytes() == firstedge.read_stamps(output).array.tobytes()
    run_app("chain", output, "--put-back", "-o", tmp_path / "back.h5")
    assert firstedge.put_back(without).array.tobytes() == firstedge.read_stamps(tmp_path / "back.h5").array.tobytes()
    with pytest.raises(firstedge.Error, match="no delays were taken out"):
        firstedge.put_back(table)
    expected = json_of_app("chain", "--setup", setup, "--date", "2026-11-03")
    same(firstedge.chain_budget(setup, date="2026-11-03"), expected)


def test_delay_through_and_reflection(example, json_of_app):
    sample = example("lines")
    run, setup = sample / "run.h5", sample / "bench.json"
    expected = json_of_app("delay", "through", run, "--setup", setup, "--before", "near", "--after", "far")
    same(firstedge.through(run, setup, before="near", after="far"), expected)
    expected = json_of_app("delay", "through", sample / "before.h5", "--setup", setup, "--then", sample / "after.h5")
    same(firstedge.through(sample / "before.h5", setup, then=sample / "after.h5"), expected)
    expected = json_of_app("delay", "reflection", run, "--setup", setup, "--channel", "echo", "--cut", "30 ns")
    same(firstedge.reflection(run, setup, channel="echo", cut_s=30e-9), expected)


def table_of(file, columns, rows):
    with file.open("w", newline="") as text:
        csv.writer(text).writerows([columns, *rows])
    return file


def test_delay_tables(json_of_app, tmp_path):
    differences = [("a", "b", 1.2e-9, 2e-12, "input"), ("b", "a", -1.1e-9, 2e-12, "input"), ("b", "c", 2e-9, 3e-12, ""),
                   ("a", "c", 3.1e-9, 3e-12, "")]
    table = table_of(
        tmp_path / "differences.csv", ["first", "second", "difference", "uncertainty", "offset"], differences
    )
    same(firstedge.closure(differences, "c"), json_of_app("delay", "closure", table, "--reference", "c"))
    visits = [("north", 0.0, 1e-8, 1e-10), ("south", 3600.0, 3e-8, 1e-10), ("north", 7200.0, 2e-8, 1e-10)]
    table = table_of(tmp_path / "visits.csv", ["station", "time", "offset", "uncertainty"], visits)
    expected = json_of_app("delay", "clock-trip", table, "--home", "north", "--white-frequency", "1e-11")
    same(firstedge.clock_trip(visits, "north", white_frequency=1e-11), expected)
    delays, temperatures = [1.0e-9, 1.2e-9, 1.1e-9, 1.05e-9], [18.0, 22.0, 20.0, 19.0]
    table = table_of(tmp_path / "repeats.csv", ["delay", "temperature"], zip(delays, temperatures))
    expected = json_of_app("delay", "repeats", table, "--at", "20", "--temperature-uncertainty", "2")
    same(firstedge.repeats(delays, temperatures, at_c=20.0, temperature_uncertainty_c=2.0), expected)


HOW_FAR = {"distance_m": 412.0, "distance_uncertainty_m": 0.010, "clock_uncertainty_s": 60e-12}
HOW_FAR_FOR_PROGRAM = ["--distance", "412", "--distance-uncertainty", "0.010", "--clock-uncertainty", "60e-12"]


@pytest.fixture(scope="module")
def agreement(example):
    """The plates of both stations, from the files."""
    sample = example("stations")
    return firstedge.agree(sample / "south.h5", sample / "north.h5", [("plate", "plate")], **HOW_FAR)


def test_agree(example, json_of_app, agreement):
    sample = example("stations")
    south, north = sample / "south.h5", sample / "north.h5"
    same(agreement, json_of_app("agree", south, north, "--pair", "plate,plate", *HOW_FAR_FOR_PROGRAM))
    south, north = sample / "south.csv", sample / "north.csv"
    expected = json_of_app("agree", south, north, "--momentum", "3000", *HOW_FAR_FOR_PROGRAM)
    same(firstedge.agree(south, north, momentum_mev=3000.0, **HOW_FAR), expected)


def test_agree_on_tables_in_memory(example, tmp_path, no_files):
    tables = {}
    for name, file in (("first", "south.h5"), ("second", "north.h5")):
        (tmp_path / f"{name}.h5").symlink_to(example("stations") / file)  # a table in memory is called so
        tables[name] = firstedge.read_stamps(tmp_path / f"{name}.h5")
    first, second = (tmp_path / f"{name}.h5" for name in tables)
    for pairs in ([], [("plate", "plate")]):
        of_files = firstedge.agree(first, second, pairs, **HOW_FAR)
        for one, other in ((tables["first"], tables["second"]), (first, tables["second"])):
            of_memory = firstedge.agree(one, other, pairs, **HOW_FAR)
            assert without_provenance(of_memory) == without_provenance(of_files)
    assert [file["name"] for file in of_memory.provenance["inputs"]] == ["first.h5"]
    with pytest.raises(firstedge.Error, match="^first: has no channel 'wall'"):
        firstedge.agree(tables["first"], second, [("wall", "plate")])


def csv_of(file, instants):
    """The same arrivals as a CSV of instants."""
    texts = [str(firstedge.Instant(int(row["seconds"]), int(row["femtoseconds"]))) for row in instants]
    return table_of(file, ["instant", "uncertainty_s"], zip(texts, map(repr, instants["uncertainty_s"].tolist())))


def test_agree_on_arrays_in_memory(example, agreement, tmp_path, no_files):
    sample = example("stations")
    south, north = (firstedge.read_stamps(sample / f"{name}.h5") for name in ("south", "north"))
    here, there = (firstedge.arrivals(one, "plate") for one in (south, north))
    of_arrays = firstedge.agree(here, there, distance_m=412.0)
    # The same arrivals; what the chains are made of is not in the arrays.
    assert of_arrays["tables"]["matching"]["rows"][0][1:] == agreement["tables"]["matching"]["rows"][0][1:]
    # An array is called as the files are called here.
    of_files = firstedge.agree(csv_of(tmp_path / "first.csv", here), csv_of(tmp_path / "second.csv", there), **HOW_FAR)
    assert without_provenance(firstedge.agree(here, there, **HOW_FAR)) == without_provenance(of_files)
    one_of_each = firstedge.agree(tmp_path / "first.csv", there, **HOW_FAR)
    assert without_provenance(one_of_each) == without_provenance(of_files)
    here["scale"] = b"TAI"
    with pytest.raises(firstedge.Error, match="scale"):
        firstedge.agree(here, there, distance_m=412.0)


@pytest.mark.parametrize(
    ("field", "value"), [
        ("seconds", 2**62), ("seconds", -2**62), ("femtoseconds", -1), ("femtoseconds", 2 * 10**15),
        ("femtoseconds", 10**15), ("uncertainty_s", -1e-9), ("uncertainty_s", numpy.inf), ("scale", b"TAI"),
        ("scale", b"GMT")
    ]
)
def test_agree_refuses_instants_that_are_none(field, value):
    like = [("seconds", "i8"), ("femtoseconds", "i8"), ("scale", "S8"), ("uncertainty_s", "f8")]
    there = numpy.array([(1_800_000_000 + k, 0, b"UTC", 1e-10) for k in range(50)], like)
    here = there.copy()
    here[field][7] = value
    with pytest.raises(firstedge.Error):
        firstedge.agree(here, there, distance_m=412.0)
    for wrong in (here[:0], here.reshape(5, 10), here[["seconds"]], numpy.zeros(5)):
        with pytest.raises(firstedge.Error):
            firstedge.agree(wrong, there, distance_m=412.0)


def test_clock_convert(json_of_app):
    times = ["2016-12-31T23:59:60Z", "MJD 57754.25", "week 1930 second 18.5"]
    same(firstedge.convert(times), json_of_app("clock", "convert", *times))


def test_clock_tie(example, json_of_app, tmp_path, no_files):
    sample = example("clocks")
    edges, readings, instants = sample / "edges.csv", sample / "triggers.csv", tmp_path / "utc.csv"
    expected = json_of_app(
        "clock", "tie", edges, "--rate", "312.5e6", "--readings", readings, "--reference-period", "1e-7",
        "--edge-delay", "2.5e-7", "--reference-uncertainty", "5e-9", "--instants", instants
    )
    clock, result = firstedge.tie(
        edges, 312.5e6, readings=readings, reference_period_s=100e-9, edge_delay_s=250e-9, reference_uncertainty_s=5e-9
    )
    same(result, expected)
    with instants.open() as text:
        rows = list(csv.DictReader(text))
    found = clock.at(*readings_of(readings))
    assert found.tobytes() == clock.readings.tobytes()
    for row, one in zip(rows, found, strict=True):
        assert firstedge.Instant.parse(row["utc"]) == firstedge.Instant(int(one["seconds"]), int(one["femtoseconds"]))
        assert float(row["uncertainty_s"]) == one["uncertainty_s"]
    on_tai = clock.at(*readings_of(readings), scale="TAI")
    # TAI - UTC has been 37 s since 2017 (IERS Bulletin C 52).
    assert (on_tai["seconds"] - found["seconds"] == 37).all()
    expected = json_of_app("clock", "tie", sample / "stamps.h5", "--channel", "pps")
    same(firstedge.tie(sample / "stamps.h5", channel="pps")[1], expected)
    of_memory = firstedge.tie(firstedge.read_stamps(sample / "stamps.h5"), channel="pps")[1]
    assert without_provenance(of_memory) == expected


def readings_of(file):
    """Whole ticks and parts of a tick, as they stand in the file."""
    texts = [line.split(",")[0].partition(".") for line in file.read_text().split()[1:]]
    return numpy.array([int(whole) for whole, _, _ in texts]), numpy.array([float("0." + rest) for _, _, rest in texts])


def test_clock_tie_of_arrays(example):
    edges = example("clocks") / "edges.csv"
    ticks, fractions = readings_of(edges)
    seconds = [line.split(",")[1].rstrip("Z") or "NaT" for line in edges.read_text().split()[1:]]
    seconds = numpy.array(seconds, "datetime64[s]")
    clock, result = firstedge.tie(ticks, 312.5e6, fractions=fractions, seconds=seconds)
    assert without_provenance(result) == without_provenance(firstedge.tie(edges, 312.5e6)[1])
    # Ticks and their parts in one double are rounded by 2^-23 tick at 2^30: 4e-16 s.
    in_one, _ = firstedge.tie(ticks + fractions, 312.5e6, seconds=seconds)
    later = in_one.at(ticks[5])["femtoseconds"] - clock.at(ticks[5])["femtoseconds"]
    assert abs(int(later[0])) < 1000
    for wrong in ({"seconds": seconds + numpy.timedelta64(1, "ms")}, {"seconds": seconds.astype("int64")}, {},
                  {"seconds": seconds[:-1]}):
        with pytest.raises(firstedge.Error, match="second|label"):
            firstedge.tie(ticks, 312.5e6, **wrong)


def test_clock_compare(example, json_of_app):
    sample = example("clocks")
    north, south, west = (sample / name / "day.cgg" for name in ("north", "south", "west"))
    expected = json_of_app(
        "clock", "compare", "--first", north, "--second", south, "--third", west, "--calibration-uncertainty", "2 ns"
    )
    same(firstedge.compare_stations(north, south, west, calibration_uncertainty_s=2e-9), expected)


def test_simulate(json_of_app, tmp_path):
    plan = tmp_path / "plan.json"
    of_plan = {
        "title": "two pulses", "seed": 7, "records": 300, "samples": 200, "interval": "0.2 ns",
        "start": "2026-11-25T00:00:00Z", "channels": [
            {"name": name, "heights": {"height": "60 mV"}, "noise": {"white": "1 mV"}, "digitizer": {"bits": 10}}
            for name in ("near", "far")
        ],
    }
    plan.write_text(json.dumps(of_plan))
    expected = json_of_app("simulate", plan, "-o", tmp_path / "run.h5", "--truth", tmp_path / "truth.h5")
    result = firstedge.simulate_run(of_plan, tmp_path / "own.h5", tmp_path / "own.truth.h5")
    same(result, expected)
    assert (tmp_path / "own.h5").read_bytes() == (tmp_path / "run.h5").read_bytes()
    block, truth = firstedge.simulate(plan)
    with h5py.File(tmp_path / "run.h5") as file:
        for name in ("near", "far"):
            numpy.testing.assert_array_equal(block[name].counts, file["channels"][name][:])
    of_app = firstedge.read_stamps(tmp_path / "truth.h5")
    assert truth.array.tobytes() == of_app.array.tobytes()
    assert len(truth.triggers) == len(block) == 300
    later, _ = firstedge.simulate(plan, first=290)
    numpy.testing.assert_array_equal(later["near"].counts, block["near"].counts[290:])
    other, _ = firstedge.simulate(of_plan, records=5, seed=8)
    assert not numpy.array_equal(other["near"].counts, block["near"].counts[:5])
    for wrong in ({"records": 0}, {"records": 10**12}, {"first": 300}):
        with pytest.raises(firstedge.Error):
            firstedge.simulate(plan, **wrong)


@pytest.mark.parametrize(
    ("words", "call"),
    [
        (["jitter", "nowhere.h5"], lambda: firstedge.jitter("nowhere.h5")),
        (["stamp", "nowhere.h5", "-o", "out.h5"], lambda: firstedge.stamp("nowhere.h5", output="out.h5")),
        (["inspect", "empty.csv"], lambda: firstedge.inspect("empty.csv")),
        (["agree", "nowhere.h5", "nowhere.csv"], lambda: firstedge.agree("nowhere.h5", "nowhere.csv")),
        (["clock", "tie", "empty.csv", "--rate", "1e6"], lambda: firstedge.tie("empty.csv", 1e6)),
        (["clock", "convert", "yesterday"], lambda: firstedge.convert("yesterday")),
        (["clock", "compare", "--first", "empty.csv", "--second", "empty.csv"],
         lambda: firstedge.compare_stations("empty.csv", "empty.csv")),
        (["simulate", "plan.json"], lambda: firstedge.simulate("plan.json")),
        (["traces", "empty.csv", "--stamps", "nowhere.h5"], lambda: firstedge.browse("empty.csv", "nowhere.h5")),
        (["chain", "nowhere.h5", "--setup", "plan.json"], lambda: firstedge.chain("nowhere.h5", "plan.json")),
    ],
    ids=lambda one: "-".join(one[:2]) if isinstance(one, list) else "",
)
def test_errors_are_the_sentences_of_the_programs(words, call, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.csv").touch()
    (tmp_path / "plan.json").write_text('{"colour": "red"}')
    program = pathlib.Path(os.environ["FIRSTEDGE_BIN"]) / f"firstedge-{words[0]}"
    told = subprocess.run([program, *words[1:]], capture_output=True, text=True, check=False)
    assert told.returncode == 2
    with pytest.raises(firstedge.Error) as caught:
        call()
    assert told.stderr == f"firstedge-{words[0]}: {caught.value}\n"
