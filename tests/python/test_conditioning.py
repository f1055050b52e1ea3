"""Promise: filters, spectra and baselines are what their documents say; SciPy is the counterpart."""

import numpy
import pytest
import scipy.ndimage
import scipy.signal

import firstedge

INTERVAL_S = 0.2e-9
RATE_HZ = 1 / INTERVAL_S


@pytest.fixture(scope="module")
def noise():
    return numpy.random.default_rng(2026).normal(0, 1e-3, (5, 1200))


@pytest.mark.parametrize(("order", "cut_hz"), [(2, 400e6), (4, 400e6), (5, 1.2e9)])
def test_butterworth_is_that_of_scipy(noise, order, cut_hz):
    filtered = firstedge.filter(INTERVAL_S, kind="butterworth", order=order, cut=cut_hz)(noise)
    sections = scipy.signal.butter(order, cut_hz, fs=RATE_HZ, output="sos")
    expected = scipy.signal.sosfiltfilt(sections, noise, axis=1)
    # Away from the ends, where both may continue the trace over different lengths; rounding of some 1e-13 of a volt.
    inside = slice(200, -200)
    numpy.testing.assert_allclose(filtered[:, inside], expected[:, inside], rtol=0, atol=1e-12)


def test_bessel_is_that_of_scipy_with_norm_mag(noise):
    filtered = firstedge.filter(INTERVAL_S, kind="bessel", order=4, cut="400 MHz")(noise)
    sections = scipy.signal.bessel(4, 400e6, fs=RATE_HZ, output="sos", norm="mag")
    expected = scipy.signal.sosfiltfilt(sections, noise, axis=1)
    inside = slice(200, -200)
    numpy.testing.assert_allclose(filtered[:, inside], expected[:, inside], rtol=0, atol=1e-12)


def test_a_block_is_filtered_as_its_rows_are_whatever_the_threads(noise):
    one = firstedge.filter(INTERVAL_S, kind="notch", centre="98 MHz", quality=30)
    rows = numpy.array([one(row) for row in noise])
    for threads in (1, 2, 5):
        assert one(noise, threads).tobytes() == rows.tobytes()


def test_the_gain_at_the_corner_is_3_db_squared_by_zero_phase():
    both_ways = firstedge.filter(INTERVAL_S, kind="butterworth", order=4, cut="400 MHz")
    causal = firstedge.filter(INTERVAL_S, kind="butterworth", order=4, cut="400 MHz", phase="causal")
    # |H|^2 = 1/2 at the corner of a Butterworth (S. Butterworth, Exp. Wireless 7 (1930) 536; from memory).
    assert causal.gain(400e6) == pytest.approx(0.5**0.5, rel=1e-9)
    assert both_ways.gain(400e6) == pytest.approx(0.5, rel=1e-9)
    assert both_ways.delay_s == 0 < causal.delay_s


@pytest.mark.parametrize("segment", [64, 127, 1200])
def test_welch_is_that_of_scipy(noise, segment):
    frequency, density = firstedge.welch(noise, INTERVAL_S, segment)
    expected_frequency, expected = scipy.signal.welch(noise, RATE_HZ, nperseg=segment, axis=1)
    numpy.testing.assert_allclose(frequency, expected_frequency, rtol=1e-12)
    # Rounding of a transform of 1200 samples: some 1e-14 of the largest line.
    numpy.testing.assert_allclose(density, expected.mean(axis=0), rtol=1e-10, atol=1e-14 * expected.max())


def test_the_baseline_of_a_window_is_the_mean_of_its_samples(noise):
    window = {"method": "mean", "window": ["0 ns", "100 ns"]}
    conditioned = firstedge.condition(firstedge.Trace(noise + 0.25, INTERVAL_S), baseline=window)
    # The samples from 0 up to 100 ns, with or without the one at the end: the mean of one row differs by less than
    # 6 standard deviations of a sample over their number.
    expected = (noise + 0.25)[:, :500].mean(axis=1)
    numpy.testing.assert_allclose(conditioned.baseline_v, expected, rtol=0, atol=6e-3 / 500)
    numpy.testing.assert_allclose(conditioned.volts, noise + 0.25 - conditioned.baseline_v[:, None], rtol=0, atol=1e-15)


def test_conditioning_a_block_is_conditioning_its_rows(noise):
    make = firstedge.conditioner(INTERVAL_S, filters=[{"kind": "bessel", "cut": "800 MHz", "phase": "causal"}])
    block = make(noise, threads=2)
    for number, row in enumerate(noise):
        one = make(row)
        assert one.volts.tobytes() == block.volts[number].tobytes()
        for name in ("first_sample_s", "baseline_v", "baseline_uncertainty_v", "baseline_rms_v", "flags"):
            assert getattr(one, name) == getattr(block, name)[number]
    assert block.first_sample_s[0] < 0  # the filter's delay is taken out


def test_learnt_white_noise_has_its_variance_and_density(noise):
    model = firstedge.NoiseModel.learn(noise, INTERVAL_S)
    # The variance of 6000 samples has a relative standard deviation of sqrt(2/6000), 1.8 %; 4.5 of them.
    assert model.rms_v == pytest.approx(1e-3, rel=0.5 * 4.5 * 0.018)
    density = model.density_v2_per_hz(numpy.array([0.5e9, 1e9]))
    given = firstedge.NoiseModel(1e-3, INTERVAL_S)
    # White noise of variance s^2 has the one-sided density 2 s^2 dt.
    numpy.testing.assert_allclose(given.density_v2_per_hz(numpy.array([0.5e9, 1e9])), 2 * 1e-6 * INTERVAL_S, rtol=1e-12)
    assert density.shape == (2,)


def test_measures_of_a_ramp_are_those_of_ieee_181():
    # A straight edge from 0 to 1 V over 100 samples: 10 % to 90 % takes 80 samples (IEEE Std 181-2011, 3.2 transition
    # duration; wording from memory). Each state is the mean of its bin, where at most two samples of the ramp below
    # 0.01 V stand beside 149 at rest: 1.4e-4 V, and twice that in all that hangs on both.
    allowed = 2.8e-4
    volts = numpy.clip((numpy.arange(400) - 150) / 100, 0, 1).astype(float)
    measures = firstedge.measure_pulse(volts, INTERVAL_S)
    assert measures["transition_duration_s"] == pytest.approx(80 * INTERVAL_S, rel=allowed)
    assert measures["amplitude_v"] == pytest.approx(1, rel=allowed)
    assert measures["instant_middle_s"] == pytest.approx(200 * INTERVAL_S, rel=allowed)


@pytest.mark.parametrize("kind", ["butterworth", "bessel"])
@pytest.mark.parametrize(("band", "cut_hz"), [("low_pass", 400e6), ("high_pass", 50e6), ("band_pass", [50e6, 600e6])])
def test_every_band_is_that_of_scipy_both_ways(noise, kind, band, cut_hz):
    filtered = firstedge.filter(INTERVAL_S, kind=kind, order=3, band=band, cut=cut_hz)(noise)
    design = {"butterworth": scipy.signal.butter, "bessel": scipy.signal.bessel}[kind]
    more = {} if kind == "butterworth" else {"norm": "mag"}
    words = {"low_pass": "lowpass", "high_pass": "highpass", "band_pass": "bandpass"}
    sections = design(3, cut_hz, words[band], fs=RATE_HZ, output="sos", **more)
    expected = scipy.signal.sosfiltfilt(sections, noise, axis=1, padlen=noise.shape[1] - 1)
    # What each supposes beyond the ends dies away by the slowest pole of three, at half of 50 MHz: after 500 samples,
    # exp(-pi 50 MHz 100 ns) = 1.5e-7 of 4 mV are left.
    inside = slice(500, -500)
    numpy.testing.assert_allclose(filtered[:, inside], expected[:, inside], rtol=0, atol=6e-10)


def continued(row, samples):
    """The row behind so many samples of its point reflection at the first one."""
    return numpy.concatenate([2 * row[0] - row[samples:0:-1], row])


@pytest.mark.parametrize("kind", ["low-pass", "notch"])
def test_causal_filters_are_those_of_scipy_behind_the_traces_reflection(noise, kind):
    if kind == "notch":
        made = firstedge.filter(INTERVAL_S, kind="notch", centre=98e6, quality=2, phase="causal")
        sections = scipy.signal.tf2sos(*scipy.signal.iirnotch(98e6, 2, fs=RATE_HZ))
    else:
        made = firstedge.filter(INTERVAL_S, kind="butterworth", order=4, cut=400e6, phase="causal")
        sections = scipy.signal.butter(4, 400e6, fs=RATE_HZ, output="sos")
    settled = scipy.signal.sosfilt_zi(sections)
    ends = 3 * (2 * len(sections) + 1)  # as scipy.signal.sosfiltfilt has it, where no section is of first order
    expected = []
    for row in noise:
        long = continued(row, ends)
        expected.append(scipy.signal.sosfilt(sections, long, zi=settled * long[0])[0][ends:])
    # Rounding: some 1000 operations of 1e-16 on values of millivolts.
    numpy.testing.assert_allclose(made(noise), expected, rtol=0, atol=1e-15)


def test_the_gaussian_is_that_of_scipy(noise):
    filtered = firstedge.filter(INTERVAL_S, kind="gaussian", width="1 ns")(noise)
    # A standard deviation of 5 samples, cut at six of them; away from the ends.
    expected = scipy.ndimage.gaussian_filter1d(noise, 5, axis=1, truncate=6)
    inside = slice(31, -31)
    numpy.testing.assert_allclose(filtered[:, inside], expected[:, inside], rtol=0, atol=1e-15)


def test_the_moving_average_is_that_of_numpy(noise):
    filtered = firstedge.filter(INTERVAL_S, kind="moving_average", width=7 * INTERVAL_S)(noise)
    expected = numpy.array([numpy.convolve(row, numpy.full(7, 1 / 7), "valid") for row in noise])
    numpy.testing.assert_allclose(filtered[:, 3:-3], expected, rtol=0, atol=1e-16)


def test_learnt_autocovariance_is_the_mean_of_products(noise):
    coloured = numpy.array([numpy.convolve(row, [0.5, 1.0, 0.5], "valid") for row in noise])
    learnt = firstedge.NoiseModel.learn(coloured, INTERVAL_S, lags=8).autocovariance_v2
    rows = coloured - coloured.mean(axis=1, keepdims=True)
    products = [(rows[:, : rows.shape[1] - lag] * rows[:, lag:]).mean() for lag in range(len(learnt))]
    assert 3 <= len(learnt) <= 8
    # The noise is correlated over two samples; what lies beyond is faded out. A row's mean costs one in 1198 samples,
    # times its correlation length of some three.
    numpy.testing.assert_allclose(learnt[:3], products[:3], rtol=0, atol=3 / 1198 * products[0])
