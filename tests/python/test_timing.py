"""Promise: each method times NumPy arrays, one trace or a block, with uncertainties that hold."""

import numpy
import pytest
import scipy.interpolate
import scipy.optimize

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


def test_settings_that_are_kept_from_call_to_call_change_nothing(pulses):
    """Two settings by turns, and the same as a Channel of its own has them; True is no number, though it equals 1."""
    volts, _ = pulses
    fits = {"noise": NOISE_V, "template": learnt_from(volts, "template_fit").template}
    for _ in range(2):
        for fraction in (0.2, 0.6):
            methods = [{"method": "constant_fraction", "fraction": fraction}]
            own = firstedge.channel(INTERVAL_S, NOISE_V, methods=methods).stamp(volts[:20])
            made = firstedge.constant_fraction(volts[:20], INTERVAL_S, fraction=fraction, noise=NOISE_V)
            assert made.tobytes() == own.tobytes()
            plain = firstedge.constant_fraction(volts[:20], INTERVAL_S, fraction=fraction, noise=NOISE_V, baseline={})
            assert plain.tobytes() == own.tobytes()
        assert len(firstedge.template_fit(volts[:20], INTERVAL_S, fit_baseline=True, **fits)) == 20
        with pytest.raises(firstedge.Error, match="fit_baseline"):
            firstedge.template_fit(volts[:20], INTERVAL_S, fit_baseline=1, **fits)
        with pytest.raises(TypeError, match="colour"):
            firstedge.constant_fraction(volts[:20], INTERVAL_S, noise=NOISE_V, colour=1)


def test_what_is_learnt_without_noise_is_learnt_from_each_block_anew(pulses):
    volts, _ = pulses
    one, other = (firstedge.constant_fraction(some, INTERVAL_S) for some in (volts[:150], 2 * volts[150:]))
    # The other block's noise is twice as high. Of 150 x 400 quiet samples a spread is known to 0.3 %, so the ratio to
    # 0.4 %: five times that.
    ratio = numpy.median(other["noise_v"]) / numpy.median(one["noise_v"])
    assert abs(ratio / 2 - 1) < 0.02, ratio


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


def edges_of(volts, **how):
    quiet = {"baseline": {"method": "mean", "window": ["0 ns", "40 ns"]}, "noise": NOISE_V, **how}
    return firstedge.constant_fraction(volts, INTERVAL_S, fraction=0.4, **quiet)


def distance_from_polynomials(volts, stamps, points):
    """How far (s) each time is from the nearest crossing of 0.4 of the pulse's height over the mean of its baseline by
    polynomials through so many neighbouring samples, of which two stand on either side of the crossing."""
    distances = []
    for row, stamp in zip(volts, stamps, strict=True):
        below = int(stamp["time_s"] / INTERVAL_S)
        flat = row - row[:200].mean() - 0.4 * stamp["height_v"]
        found = []
        for first in range(below + 2 - points, below + 1):
            x = numpy.arange(first, first + points)
            curve = scipy.interpolate.BarycentricInterpolator(x - below, flat[x])
            if curve(0) < 0 <= curve(1):
                found.append((below + scipy.optimize.brentq(curve, 0, 1, xtol=1e-13)) * INTERVAL_S)
        distances.append(min(abs(time_s - stamp["time_s"]) for time_s in found))
    return numpy.array(distances)


def test_linear_crossings_are_those_of_numpy(pulses):
    volts, _ = pulses
    stamps = edges_of(volts, interpolation="linear", edge_samples=0)
    for row, stamp in zip(volts, stamps, strict=True):
        below = int(stamp["time_s"] / INTERVAL_S)
        here = slice(below, below + 2)
        line_s = numpy.interp(0.4 * stamp["height_v"], (row - row[:200].mean())[here], numpy.arange(below, below + 2))
        # Rounding: 1e-16 of 60 ns, and of a tenth of a volt on 50 MV/s.
        assert abs(line_s * INTERVAL_S - stamp["time_s"]) < 1e-16


@pytest.mark.parametrize(("interpolation", "points"), [("cubic", 4), ("quintic", 6)])
def test_polynomial_crossings_are_those_of_scipy(pulses, interpolation, points):
    volts, _ = pulses
    stamps = edges_of(volts, interpolation=interpolation, edge_samples=0)
    # Rounding: 1e-16 of 60 ns, and 1e-16 of a tenth of a volt on 50 MV/s, times some ten operations.
    assert (distance_from_polynomials(volts, stamps, points) < 1e-15).all()


def test_the_template_fit_is_the_least_squares_fit_of_scipy(pulses):
    """White noise: height and time that make the squared residuals least."""
    volts, _ = pulses
    channel = learnt_from(volts, "template_fit")
    template = channel.template
    points = template.first_s + template.interval_s * numpy.arange(len(template.shape))
    shape = scipy.interpolate.make_interp_spline(points, template.shape, k=5)

    def model(times_s, time_ns, height_v, level_v):
        time_s = time_ns * 1e-9
        inside = (times_s - time_s >= points[0]) & (times_s - time_s <= points[-1])
        return level_v + height_v * numpy.where(inside, shape(numpy.clip(times_s - time_s, points[0], points[-1])), 0)

    stamps = firstedge.template_fit(volts[:20], INTERVAL_S, noise=NOISE_V, template=template, fit_baseline=True)
    for row, stamp in zip(volts, stamps):
        near = slice(*(int(stamp["time_s"] / INTERVAL_S) + offset for offset in (-60, 60)))
        times_s = numpy.arange(len(row))[near] * INTERVAL_S
        start = (stamp["time_s"] * 1e9 + 0.02, stamp["height_v"], 0.0)
        (fitted_ns, _, _), _ = scipy.optimize.curve_fit(model, times_s, row[near], start)
        # Other samples are fitted at the pulse's foot, where the template is nearly 0: a fifth of the uncertainty.
        assert abs(fitted_ns * 1e-9 - stamp["time_s"]) < 0.2 * stamp["uncertainty_s"]
