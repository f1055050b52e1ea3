"""Promise: each method times NumPy arrays, one trace or a block, with uncertainties that hold."""

import numpy
import pytest

import firstedge

INTERVAL_S = 0.2e-9
NOISE_V = 1e-3


@pytest.fixture(scope="module")
def pulses():
    """300 Gaussian pulses of 40 to 120 mV at known times in white noise: (volts, times of their half height)."""
    generator = numpy.random.default_rng(181)
    sigma_s, centre_s = 0.6e-9, 60e-9 + generator.uniform(-1, 1, 300) * 1e-9
    height = generator.uniform(0.04, 0.12, 300)
    times = numpy.arange(600) * INTERVAL_S
    shape = numpy.exp(-0.5 * ((times - centre_s[:, None]) / sigma_s) ** 2)
    volts = height[:, None] * shape + generator.normal(0, NOISE_V, (300, 600))
    return volts, centre_s - sigma_s * numpy.sqrt(2 * numpy.log(2))


def times_of(stamps):
    assert len(stamps) == 300
    assert not (stamps["flags"] & firstedge.Flag.not_timed).any()
    return stamps["time_s"]


@pytest.mark.parametrize("noise", [None, NOISE_V])
def test_constant_fraction_of_a_half_times_the_half_height(pulses, noise):
    volts, true_s = pulses
    stamps = firstedge.constant_fraction(volts, INTERVAL_S, fraction=0.5, noise=noise)
    pull = (times_of(stamps) - true_s) / stamps["uncertainty_s"]
    # Of 300 normal deviates the standard deviation is 1 +- 0.041 and the mean 0 +- 0.058; 4.5 of these, and 3 % that
    # the header allows of coverage.
    assert abs(pull.std() - 1) < 4.5 * 0.041 + 0.03
    assert abs(pull.mean()) < 4.5 * 0.058


@pytest.mark.parametrize(
    "method", [
        firstedge.leading_edge,
        firstedge.constant_fraction,
        firstedge.delayed_fraction,
        firstedge.template_fit,
        firstedge.template_family,
    ]
)
def test_each_method_times_a_block_and_spreads_as_it_says(pulses, method):
    volts, true_s = pulses
    stamps = method(volts, INTERVAL_S)
    error = times_of(stamps) - true_s
    spread = numpy.median(numpy.abs(error - numpy.median(error))) / 0.6745
    stated = numpy.median(stamps["uncertainty_s"])
    walk = 0.5e-9 if method is firstedge.leading_edge else 0  # from 40 to 120 mV on an edge of 1.4 ns
    assert spread < 1.4 * stated + walk
    assert stated < 50e-12


def learnt_from(volts, *methods):
    setup = {"every_channel": {"timing": [{"method": name} for name in methods]}}
    return firstedge.learn({"one": firstedge.Trace(volts, INTERVAL_S)}, setup)["one"]


def test_one_trace_gets_the_stamp_that_it_has_in_its_block(pulses):
    volts, _ = pulses
    channel = learnt_from(volts, "template_fit", "constant_fraction")
    block = channel.stamp(volts)
    for row in (0, 17, 299):
        one = channel.stamp(volts[row])
        here = block[block["record"] == row].copy()
        here["record"] = 0
        assert one.tobytes() == here.tobytes()


def test_a_negative_pulse_is_timed_where_the_positive_one_is(pulses):
    volts, _ = pulses
    up = firstedge.constant_fraction(volts, INTERVAL_S, noise=NOISE_V)
    down = firstedge.constant_fraction(-volts, INTERVAL_S, noise=NOISE_V)
    assert up["time_s"].tobytes() == down["time_s"].tobytes()
    assert (up["polarity"] == 1).all() and (down["polarity"] == -1).all()


def test_a_template_that_is_given_serves_as_one_that_is_learnt(pulses, tmp_path):
    volts, _ = pulses
    learnt = learnt_from(volts, "template_fit")
    firstedge.write_templates(tmp_path / "templates.h5", [learnt.template])
    [template] = firstedge.read_templates(tmp_path / "templates.h5")
    assert template.shape.tobytes() == learnt.template.shape.tobytes()
    again = firstedge.template_fit(volts, INTERVAL_S, noise=learnt.noise, template=template)
    assert again["time_s"].tobytes() == learnt.stamp(volts)["time_s"].tobytes()


def test_counts_of_every_type_give_the_same_times(pulses):
    volts, _ = pulses
    counts = numpy.round(volts / 1e-3)
    expected = None
    for number in (numpy.int8, numpy.int16, numpy.int32, numpy.float32, numpy.float64):
        made = firstedge.constant_fraction(
            firstedge.Trace(counts.astype(number), INTERVAL_S, volts_per_count=1e-3), noise=NOISE_V
        )
        whole = numpy.issubdtype(number, numpy.integer)
        expected = made["time_s"] if expected is None else expected
        if whole:  # floating point has no count of its own: its step is seen from the values
            assert made["time_s"].tobytes() == expected.tobytes()
        else:
            numpy.testing.assert_allclose(made["time_s"], expected, rtol=0, atol=1e-13)
    positive = (counts + 100).clip(0, 255)
    of_u8, of_u16 = (
        firstedge.Trace(positive.astype(number), INTERVAL_S, volts_per_count=1e-3, offset_v=-0.1)
        for number in (numpy.uint8, numpy.uint16)
    )
    first = firstedge.constant_fraction(of_u8, noise=NOISE_V)
    assert first.tobytes() == firstedge.constant_fraction(of_u16, noise=NOISE_V).tobytes()
