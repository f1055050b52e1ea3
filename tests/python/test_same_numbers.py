"""Promise: the package and the programs give the same numbers, bit for bit."""

import h5py
import numpy
import pytest

import firstedge


def bits_of(stamps):
    """All fields as bytes, so that NaN equals NaN and nothing is rounded."""
    return {name: numpy.ascontiguousarray(stamps[name]).tobytes() for name in firstedge.STAMP.names}


def test_stamping_a_run_equals_the_program(stamps, app_stamps):
    assert len(stamps) == len(app_stamps) > 3_000
    assert bits_of(stamps.array) == bits_of(app_stamps)


def test_a_table_of_the_program_reads_as_what_h5py_reads(app_table, app_stamps):
    table = firstedge.read_stamps(app_table)
    assert bits_of(table.array) == bits_of(app_stamps)
    assert table.array.dtype.names == app_stamps.dtype.names
    with h5py.File(app_table) as file:
        assert [name.encode() for name in table.channels] == list(file["channels"]["name"])
        assert [name.encode() for name in table.methods] == list(file["methods"]["name"])


@pytest.mark.parametrize("threads", [1, 3])
def test_blocks_of_numpy_arrays_get_the_stamps_of_the_program(bench, channels, app_stamps, threads):
    with h5py.File(bench.records) as file:
        for number, name in enumerate(channels):
            counts = file["channels"][name]
            trace = trace_of_dataset(counts)
            made = channels[name].stamp(trace, threads)
            expected = app_stamps[app_stamps["channel"] == number]
            made["channel"] = number
            assert bits_of(made) == bits_of(expected)


def trace_of_dataset(data):
    """A Trace of an HDF5 data set of ours (docs/file-layouts.md), read by h5py."""
    scale = ("interval_s", "first_sample_s", "volts_per_count", "offset_v", "lowest_count", "highest_count")
    return firstedge.Trace(data[:], **{name: float(data.attrs[name]) for name in scale})


def test_record_by_record_and_block_by_block_give_the_same_stamps(bench, channels, app_stamps):
    records = firstedge.open_records(bench.records, bench.setup)
    block = next(records.blocks(100))
    one_by_one = [channels["amplified"].stamp(record["amplified"]) for record in block]
    by_block = channels["amplified"].stamp(block)
    assert bits_of(numpy.concatenate(one_by_one)) == bits_of(by_block)
    expected = app_stamps[(app_stamps["channel"] == list(channels).index("amplified")) & (app_stamps["record"] < 100)]
    assert bits_of(by_block) == bits_of(expected)


def test_volts_of_a_trace_get_the_times_of_its_counts_to_rounding(bench, channels):
    """An array of volts has no counts: quantisation is seen from the values, and its first sample is at 0 s."""
    trace = next(iter(firstedge.open_records(bench.records)))["amplified"]
    of_counts = channels["amplified"].stamp(trace)
    volts = firstedge.Trace(trace.volts(), trace.interval_s, trace.first_sample_s)
    of_volts = channels["amplified"].stamp(volts)
    # 1e-15 s: the volts are the same doubles, but for clipping limits (no pulse of this record is clipped).
    numpy.testing.assert_allclose(of_volts["time_s"], of_counts["time_s"], rtol=0, atol=1e-15)


def test_learning_from_arrays_equals_learning_from_the_file(bench, channels):
    with h5py.File(bench.records) as file:
        traces = {name: trace_of_dataset(file["channels"][name]) for name in channels}
    learnt = firstedge.learn(traces, bench.setup)
    for name, channel in channels.items():
        assert learnt[name].noise.autocovariance_v2.tobytes() == channel.noise.autocovariance_v2.tobytes()
        assert learnt[name].template.shape.tobytes() == channel.template.shape.tobytes()


def test_one_method_learnt_from_its_block_equals_the_program_with_that_method(bench, tmp_path, run_app):
    setup = tmp_path / "one.json"
    setup.write_text(
        '{"every_channel": {"load": "50 ohm", "timing": [{"method": "constant_fraction", "fraction": 0.3}]}}'
    )
    run_app("stamp", bench.records, "--setup", setup, "-o", tmp_path / "one.h5", "--quiet")
    expected = firstedge.read_stamps(tmp_path / "one.h5").select("bare").array
    with h5py.File(bench.records) as file:
        made = firstedge.constant_fraction(trace_of_dataset(file["channels/bare"]), fraction=0.3)
    made["channel"] = expected["channel"][0]
    assert bits_of(made) == bits_of(expected)


def test_tables_are_written_as_the_program_writes_them(stamps, app_stamps, tmp_path):
    for name in ("table.h5", "table.csv"):
        stamps.write(tmp_path / name)
        assert bits_of(firstedge.read_stamps(tmp_path / name).array) == bits_of(app_stamps)
