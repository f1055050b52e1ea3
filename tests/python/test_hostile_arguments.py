"""Promise: an argument that cannot be used raises one clear firstedge.Error, a ValueError; nothing is read outside."""

import math
import os
import pickle

import numpy
import pytest

import firstedge

GOOD = numpy.zeros((3, 64))


@pytest.mark.parametrize(
    ("samples", "sentence"),
    [
        ([0.0, 1.0], "is of type list; give a NumPy array"),
        (None, "is of type NoneType; give a NumPy array"),
        (numpy.zeros(64, complex), "elements of type complex128"),
        (numpy.zeros(64, numpy.int64), "elements of type int64"),
        (numpy.zeros(64, bool), "elements of type bool"),
        (numpy.zeros(64, numpy.float16), "elements of type float16"),
        (numpy.zeros(64, ">i2"), "elements of type >i2"),
        (numpy.zeros(64, object), "elements of type object"),
        (numpy.array("text"), "elements of type <U4"),
        (numpy.zeros(64, firstedge.STAMP), "has elements of type"),
        (numpy.float64(1), "is of type float64"),
        (numpy.array(1.0), r"has the shape \(\)"),
        (numpy.zeros((2, 3, 4)), r"has the shape \(2, 3, 4\)"),
        (numpy.zeros(0), "has no samples"),
        (numpy.zeros((3, 0)), "has no samples"),
        (GOOD[:, ::2], "do not stand one behind the other"),
        (GOOD[:, ::-1], "do not stand one behind the other"),
        (numpy.asfortranarray(GOOD), "do not stand one behind the other"),
        (numpy.frombuffer(b"\0" * 513, numpy.uint8)[1:].view(numpy.float64), "do not stand one behind the other"),
    ],
)
def test_arrays_that_cannot_be_used(samples, sentence):
    channel = firstedge.channel(1e-9, 1e-3)
    for call in (
        lambda: channel.stamp(samples),
        lambda: firstedge.Trace(samples, 1e-9),
        lambda: firstedge.condition(samples, 1e-9),
        lambda: firstedge.constant_fraction(samples, 1e-9),
        lambda: firstedge.filter(1e-9, kind="gaussian", width="2 ns")(samples),
        lambda: firstedge.welch(samples, 1e-9),
        lambda: firstedge.NoiseModel.learn(samples, 1e-9),
    ):
        with pytest.raises(firstedge.Error, match=sentence):
            call()


@pytest.mark.parametrize("interval", [0.0, -1e-9, math.nan, math.inf])
def test_intervals_without_sense(interval):
    for call in (
        lambda: firstedge.Trace(GOOD, interval),
        lambda: firstedge.channel(interval, 1e-3),
        lambda: firstedge.constant_fraction(GOOD, interval),
        lambda: firstedge.welch(GOOD, interval),
        lambda: firstedge.measure_pulse(GOOD[0], interval),
        lambda: firstedge.condition(GOOD, interval),
        lambda: firstedge.filter(interval, kind="gaussian", width="2 ns"),
    ):
        with pytest.raises(firstedge.Error):
            call()


@pytest.mark.parametrize(
    "scale",
    [
        {"first_sample_s": math.nan},
        {"volts_per_count": 0},
        {"volts_per_count": math.inf},
        {"offset_v": math.nan},
        {"lowest_count": 5, "highest_count": 5},
        {"lowest_count": math.nan},
    ],
)
def test_scales_without_sense(scale):
    with pytest.raises(firstedge.Error, match="counts: "):
        firstedge.Trace(GOOD, 1e-9, **scale)


def test_rows_may_lie_anywhere_as_long_as_samples_stand_together():
    """Every second record, in reverse: a view that is stamped without a copy."""
    pulses = numpy.random.default_rng(7).normal(0, 1e-3, (6, 200))
    pulses[:, 100:110] += numpy.linspace(0.02, 0.12, 6)[:, None]
    channel = firstedge.channel(1e-9, 1e-3)
    seen, copied = channel.stamp(pulses[::-2]), channel.stamp(pulses[::-2].copy())
    assert seen.tobytes() == copied.tobytes()
    assert len(seen) >= 3


def test_samples_that_are_not_finite_are_bridged_and_told():
    volts = numpy.random.default_rng(8).normal(0, 1e-3, 256)
    volts[40:43] = [math.nan, math.inf, -math.inf]
    conditioned = firstedge.condition(volts, 1e-9)
    assert numpy.isfinite(conditioned.volts).all()
    assert conditioned.clipped.tolist() == [[40, 43]]
    for call in (
        lambda: firstedge.welch(volts, 1e-9), lambda: firstedge.filter(1e-9, kind="gaussian", width="2 ns")(volts)
    ):
        with pytest.raises(firstedge.Error, match="not finite"):
            call()
    nothing = firstedge.condition(numpy.full(64, math.nan), 1e-9)
    assert firstedge.Flag.no_baseline in firstedge.Flag(nothing.flags)


def test_no_records_give_no_stamps():
    channel = firstedge.channel(1e-9, 1e-3)
    assert channel.stamp(numpy.zeros((0, 64))).shape == (0,)
    with pytest.raises(firstedge.Error, match="has no records"):
        firstedge.condition(numpy.zeros((0, 64)), 1e-9)
    with pytest.raises(firstedge.Error, match="has no records"):
        firstedge.Trace(numpy.zeros((0, 64)), 1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: firstedge.constant_fraction(GOOD, 1e-9, fraction=1.5),
        lambda: firstedge.constant_fraction(GOOD, 1e-9, fraction=math.nan),
        lambda: firstedge.constant_fraction(GOOD, 1e-9, fraction={"of": GOOD}),
        lambda: firstedge.constant_fraction(GOOD, 1e-9, noise=-1.0),
        lambda: firstedge.constant_fraction(GOOD),
        lambda: firstedge.leading_edge(GOOD, 1e-9, threshold="20 mA"),
        lambda: firstedge.delayed_fraction(GOOD, 1e-9, delay=0.0),
        lambda: firstedge.template_fit(GOOD, 1e-9, noise=1e-3),
        lambda: firstedge.channel(1e-9, 1e-3, methods=[{"method": "guess"}]),
        lambda: firstedge.channel(1e-9, 1e-3, filters=[{"kind": "butterworth", "cut": "2 GHz"}]),
        lambda: firstedge.filter(1e-9, kind="butterworth", cut="100 MHz", colour="red"),
        lambda: firstedge.channel(1e-9, 1e-3, search={"colour": "red"}),
        lambda: firstedge.learn({}),
        lambda: firstedge.learn({"a": firstedge.Trace(GOOD, 1e-9), "b": firstedge.Trace(GOOD[:2], 1e-9)}),
        lambda: firstedge.read_stamps("nowhere.h5"),
        lambda: firstedge.stamp("nowhere.h5"),
        lambda: firstedge.jitter(firstedge.Stamps(numpy.zeros(2, firstedge.STAMP), ["one"], ["by"])),
        lambda: firstedge.Stamps(numpy.full(1, 7, firstedge.STAMP), ["one"], ["by"]),
        lambda: firstedge.Stamps(numpy.zeros(3), ["one"], ["by"]),
        lambda: firstedge.Stamps(numpy.zeros((2, 2), firstedge.STAMP), ["one"], ["by"]),
        lambda: firstedge.Setup.parse("{"),
        lambda: firstedge.Instant(0, -1),
        lambda: firstedge.Instant(0, 0, "LOCAL"),
    ],
)
def test_words_and_values_without_sense(call):
    with pytest.raises(firstedge.Error) as caught:
        call()
    assert isinstance(caught.value, ValueError)
    parts = caught.value
    assert str(parts) == f"{parts.place}: {parts.problem}; {parts.remedy}"


def test_bytes_that_are_no_utf_8_are_told_as_question_marks():
    with pytest.raises(firstedge.Error, match=r"no\?where"):
        firstedge.open_records(os.fsdecode(b"no\xffwhere.h5"))


def test_errors_pass_between_processes():
    with pytest.raises(firstedge.Error) as caught:
        firstedge.open_records("nowhere.h5")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (str(again), again.remedy) == (str(caught.value), caught.value.remedy)


def test_what_a_progress_function_raises_ends_the_run(bench, tmp_path):
    def stop(records, share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        firstedge.stamp(bench.records, bench.setup, tmp_path / "stamps.h5", progress=stop)
    assert [file.name for file in tmp_path.iterdir()] == ["stamps.h5.journal"]
