"""Promise: arrays pass without copies, other Python threads run meanwhile, blocks are shared out between threads."""

import os
import subprocess
import sys
import threading
import tracemalloc

import numpy
import pytest

import firstedge

INTERVAL_S = 0.2e-9


@pytest.fixture(scope="module")
def volts():
    """200 traces of 1000 samples with a pulse each."""
    volts = numpy.random.default_rng(5).normal(0, 1e-3, (200, 1000))
    volts[:, 400:440] += 0.08 * numpy.hanning(40)
    return volts


@pytest.fixture(scope="module")
def channel():
    return firstedge.channel(INTERVAL_S, 1e-3)


def address(array):
    return array.__array_interface__["data"][0]


@pytest.mark.parametrize(
    "number", [numpy.int8, numpy.uint8, numpy.int16, numpy.uint16, numpy.int32, numpy.float32, numpy.float64]
)
def test_a_trace_looks_into_the_array_it_was_made_of(number):
    counts = numpy.arange(60, dtype=number).reshape(3, 20)
    trace = firstedge.Trace(counts, INTERVAL_S)
    assert numpy.shares_memory(trace.counts, counts)
    assert address(trace.counts) == address(counts)
    assert address(trace[1].counts) == address(counts[1])
    counts[1, 4] = 99
    assert trace[1].volts()[4] == 99


def test_a_view_of_every_second_record_is_no_copy_either(volts):
    every_second = volts[::2]
    assert address(firstedge.Trace(every_second, INTERVAL_S)[1].counts) == address(volts[2])


def test_a_mapped_file_is_stamped_where_it_is(volts, channel, tmp_path):
    numpy.save(tmp_path / "volts.npy", volts)
    mapped = numpy.load(tmp_path / "volts.npy", mmap_mode="r")
    assert numpy.shares_memory(firstedge.Trace(mapped, INTERVAL_S).counts, mapped)
    assert channel.stamp(mapped).tobytes() == channel.stamp(volts).tobytes()


def numpy_bytes_during(call):
    """The most that NumPy's own arrays, which tracemalloc sees, took while call ran, and what came out."""
    tracemalloc.start()
    try:
        result = call()
        return tracemalloc.get_traced_memory()[1], result
    finally:
        tracemalloc.stop()


def test_no_call_copies_its_input(volts, channel):
    for call in (
        lambda: channel.stamp(volts),
        lambda: firstedge.welch(volts, INTERVAL_S),
        lambda: firstedge.NoiseModel.learn(volts, INTERVAL_S),
        lambda: firstedge.constant_fraction(volts, INTERVAL_S, noise=1e-3),
        lambda: firstedge.measure_pulse(volts[0], INTERVAL_S),
    ):
        most, _ = numpy_bytes_during(call)
        assert most < volts.nbytes / 20


def test_what_comes_out_is_written_once(volts):
    """Volts come out as one array of their own size, and asking again gives the same one."""
    condition = firstedge.conditioner(INTERVAL_S)
    most, made = numpy_bytes_during(lambda: condition(volts))
    assert volts.nbytes <= most < 1.05 * volts.nbytes
    assert made.volts is made.volts
    smooth = firstedge.filter(INTERVAL_S, kind="gaussian", width="1 ns")
    most, _ = numpy_bytes_during(lambda: smooth(volts))
    assert most < 1.05 * volts.nbytes


def test_results_are_views_of_the_librarys_memory(volts, channel):
    stamps = channel.stamp(volts)
    one_trace = firstedge.condition(volts[0], INTERVAL_S).volts
    _, density = firstedge.welch(volts, INTERVAL_S)
    for array in (stamps, one_trace, density):
        assert array.base is not None and not array.flags.owndata
    table = firstedge.Stamps(stamps, ["channel"], channel.methods)
    assert address(table.array) == address(table["record"]) == address(table.array)
    assert numpy.shares_memory(table["time_s"], table.array)


CALLS = {
    "stamp": lambda volts, channel: channel.stamp(volts),
    "stamp of one trace": lambda volts, channel: channel.stamp(volts[0]),
    "condition": lambda volts, channel: firstedge.condition(volts, INTERVAL_S),
    "filter": lambda volts, channel: firstedge.filter(INTERVAL_S, kind="gaussian", width="1 ns")(volts),
    "welch": lambda volts, channel: firstedge.welch(volts, INTERVAL_S),
    "noise": lambda volts, channel: firstedge.NoiseModel.learn(volts, INTERVAL_S),
    "learn": lambda volts, channel: firstedge.learn({"one": firstedge.Trace(volts, INTERVAL_S)}),
}


@pytest.mark.parametrize("name", CALLS)
def test_other_python_threads_run_during_a_call(volts, channel, name):
    """The interpreter changes threads of itself only every 1000 s here: another one runs only if the call lets it."""
    usual, ran, gate = sys.getswitchinterval(), [], threading.Lock()
    gate.acquire()

    def wait_and_run():
        gate.acquire()
        ran.append(True)

    other = threading.Thread(target=wait_and_run)
    other.start()
    sys.setswitchinterval(1000)
    try:
        gate.release()
        assert not ran
        calls = 0
        while not ran and calls < 2000:  # the system may take its time to wake the other thread
            CALLS[name](volts, channel)
            calls += 1
        assert ran
    finally:
        sys.setswitchinterval(usual)
        other.join()


def test_blocks_are_shared_out_between_threads():
    """One thread makes no others; as many as there are processors make some."""
    if len(os.sched_getaffinity(0)) < 2:
        pytest.skip("one processor")
    lines = """
import os, sys, numpy, firstedge
volts = numpy.random.default_rng(5).normal(0, 1e-3, (400, 1000))
channel = firstedge.channel(1e-9, 1e-3)
before = len(os.listdir("/proc/self/task"))
channel.stamp(volts, 1)
assert len(os.listdir("/proc/self/task")) == before
channel.stamp(volts)
sys.exit(len(os.listdir("/proc/self/task")) <= before)
"""
    subprocess.run([sys.executable, "-c", lines], check=True)


def test_channels_may_be_used_from_many_python_threads_at_once(volts, channel):
    expected, found = channel.stamp(volts).tobytes(), []
    threads = [threading.Thread(target=lambda: found.append(channel.stamp(volts).tobytes())) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [expected] * 4
