"""Promise: records are what stands in the file, in its own count type, without copies."""

import gc

import h5py
import numpy
import pytest

import firstedge


@pytest.fixture(scope="module")
def counts(bench):
    with h5py.File(bench.records) as file:
        return {name: file["channels"][name][:] for name in file["channels"]}


def test_records_have_the_counts_of_the_file_in_their_own_type(bench, counts):
    records = firstedge.open_records(bench.records)
    assert records.record_count == len(counts["bare"])
    seen = 0
    for record in records:
        for name in records.channels:
            trace = record[name]
            assert trace.counts.dtype == counts[name].dtype
            numpy.testing.assert_array_equal(trace.counts, counts[name][record.index])
        seen += 1
    assert seen == records.record_count == records.account["records_good"]


def test_a_block_is_seen_without_a_copy_and_outlives_its_reader(bench, counts):
    block = next(firstedge.open_records(bench.records).blocks(64))
    trace = block["bare"]
    record = block[3]["bare"]
    assert trace.shape == (64, counts["bare"].shape[1])
    assert numpy.shares_memory(trace.counts[3], record.counts)
    assert not trace.counts.flags.writeable
    kept = trace.counts
    del block, trace, record
    gc.collect()
    numpy.testing.assert_array_equal(kept, counts["bare"][:64])


def test_blocks_of_any_size_hold_all_records_in_order(bench):
    for size in (1, 7, 5000):
        records = firstedge.open_records(bench.records)
        indices = numpy.concatenate([block["bare"].records for block in records.blocks(size)])
        numpy.testing.assert_array_equal(indices, numpy.arange(records.record_count))


def test_reading_twice_starts_at_the_front_again(bench):
    records = firstedge.open_records(bench.records)
    assert [next(iter(records)).index for _ in range(3)] == [0, 0, 0]


def test_volts_are_counts_times_the_scale(bench):
    trace = next(iter(firstedge.open_records(bench.records)))["bare"]
    expected = trace.volts_per_count * trace.counts.astype(float) + trace.offset_v
    numpy.testing.assert_array_equal(trace.volts(), expected)
    # Rounding of one product and one sum each: 2 ulp of the record's length.
    numpy.testing.assert_allclose(
        trace.times_s(), trace.first_sample_s + trace.interval_s * numpy.arange(len(trace)), rtol=5e-16, atol=1e-22
    )


def test_triggers_are_the_instants_of_the_file(bench):
    with h5py.File(bench.records) as file:
        seconds, femtoseconds = file["triggers/seconds"][:], file["triggers/femtoseconds"][:]
    for record in next(firstedge.open_records(bench.records).blocks(50)):
        assert (record.trigger.seconds, record.trigger.femtoseconds) == (
            seconds[record.index], femtoseconds[record.index]
        )


def test_a_pattern_names_files_in_natural_order(tmp_path, bench):
    for number in (10, 2, 1):
        values = numpy.full((number, 40), number, numpy.int16)
        numpy.save(tmp_path / f"run_{number}.npy", values)
    setup = {"input": {"format": "npy", "interval": "1 ns"}}
    records = firstedge.open_records(tmp_path / "run_*.npy", setup)
    assert [file.name for file in records.files] == ["run_1.npy", "run_2.npy", "run_10.npy"]


def test_wrong_names_are_told(bench):
    record = next(iter(firstedge.open_records(bench.records)))
    with pytest.raises(
        firstedge.Error, match="channel 'nowhere': is not in this run; the channels are bare, amplified|amplified, bare"
    ):
        record["nowhere"]
    with pytest.raises(firstedge.Error, match="no file has such a name"):
        firstedge.open_records("nowhere/*.h5")
    with pytest.raises(firstedge.Error, match="nowhere.h5"):
        firstedge.open_records("nowhere.h5")
