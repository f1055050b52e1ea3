"""Promise: stamps are NumPy arrays and pandas frames in one call, and results are dicts with figures as attributes."""

import json
import math
import subprocess
import sys

import numpy
import pytest

import firstedge


def test_a_frame_has_a_row_a_stamp_with_names(stamps):
    frame = stamps.frame()
    assert list(frame.columns) == list(firstedge.STAMP.names)
    assert len(frame) == len(stamps)
    assert set(frame["channel"]) == set(stamps.channels)
    counts = frame.groupby(["channel", "method"], observed=True).size()
    for (channel, method), count in counts.items():
        assert count == len(stamps.select(channel, method))


def test_pandas_is_imported_only_when_it_is_asked_for():
    lines = "import sys, firstedge; assert 'pandas' not in sys.modules and 'h5py' not in sys.modules"
    subprocess.run([sys.executable, "-c", lines], check=True)


def test_selections_are_tables_again(stamps, tmp_path):
    one = stamps.select("bare", "template_fit", pulse=0)
    assert (one["channel"] == stamps.channels.index("bare")).all()
    assert (one["pulse"] == 0).all()
    high = one.where(one["height_v"] > numpy.median(one["height_v"]))
    assert 0 < len(high) < len(one)
    high.write(tmp_path / "high.h5")
    assert firstedge.read_stamps(tmp_path / "high.h5").array.tobytes() == high.array.tobytes()
    for call in (lambda: stamps.select("nowhere"), lambda: stamps.select(method="guess"), lambda: stamps["colour"]):
        with pytest.raises(firstedge.Error):
            call()


def test_the_array_is_a_view_that_cannot_be_written(stamps):
    assert numpy.shares_memory(stamps.array, stamps.array)
    with pytest.raises(ValueError, match="read-only"):
        stamps.array["time_s"][0] = 0


def test_packed_arrays_of_h5py_make_a_table(app_stamps, stamps):
    again = firstedge.Stamps(app_stamps, stamps.channels, stamps.methods)
    assert again.array.tobytes() == stamps.array.tobytes()
    assert again.frame().equals(stamps.frame())


def test_times_are_those_of_the_truth(stamps, bench):
    truth = firstedge.read_stamps(bench.truth)
    frame = stamps.select("bare", "template_fit", pulse=0).frame().merge(
        truth.select("bare", pulse=0).frame(), on="record", suffixes=("", "_true")
    )
    frame = frame[frame["flags"] == 0]
    error = frame["time_s"] - frame["time_s_true"]
    inside = (abs(error - error.median()) < frame["uncertainty_s"]).mean()
    # 68.3 % of true times within one uncertainty; of n stamps +- 0.466/sqrt(n), 4.5 of these and the 1.5 % that the
    # method states.
    assert abs(inside - 0.683) < 4.5 * 0.466 / math.sqrt(len(frame)) + 0.015


def test_flags_have_names():
    assert firstedge.flag_names(firstedge.Flag.clipped | firstedge.Flag.poor_fit) == "clipped+poor_fit"
    assert firstedge.flag_names(0) == ""
    with pytest.raises(firstedge.Error, match="is not a flag"):
        firstedge.jitter(firstedge.Stamps(numpy.zeros(0, firstedge.STAMP), ["a", "b"], ["m"]), allow=["colour"])


def test_a_result_is_a_dict_with_its_figures_as_attributes(jitter, tmp_path):
    result = jitter
    key, figure = next(iter(result["figures"].items()))
    found = getattr(result, key)
    assert (found.value, float(found), found.unit) == (figure["value"], figure["value"], figure["unit"])
    assert result.answer == result["answer"]
    with pytest.raises(AttributeError, match="no 'colour' in this result"):
        result.colour
    frame = result.frame("pairs")
    assert len(frame) == len(result["tables"]["pairs"]["rows"])
    with pytest.raises(firstedge.Error, match="is not in this result"):
        result.frame("colours")
    assert json.loads(result.json()) == dict(result)
    result.page(tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text().startswith("<!DOCTYPE html>")
    assert str(result).startswith(result.title)


def test_a_result_says_what_made_it(bench, stamps):
    made = stamps.summary.provenance
    assert made["program"] == "firstedge.stamp"
    assert made["version"] == firstedge.__version__
    assert [one["name"] for one in made["inputs"]] == ["bench.h5"]
    assert made["setup"] == bench.setup.read_text()
    assert stamps.summary.problems == []


def test_delays_of_chains_are_taken_out(stamps):
    calibration = {"delay": "12.5 ns", "uncertainty": "20 ps", "type": "B", "measured": "2026-01-01"}
    setup = {
        "elements": [{"name": "cable", **calibration}],
        "channels": [{"name": "bare", "chain": ["cable"]}, {"name": "amplified", "chain": []}],
    }
    without, result = firstedge.chain(stamps, setup, date="2026-06-01")
    moved = stamps["time_s"] - without["time_s"]
    expected = numpy.where(stamps["channel"] == stamps.channels.index("bare"), 12.5e-9, 0)
    # A sum of times below 1 us rounds by less than 2e-22 s.
    numpy.testing.assert_allclose(moved[numpy.isfinite(moved)], expected[numpy.isfinite(moved)], rtol=0, atol=1e-21)
    with pytest.raises(firstedge.Error, match="taken out of this table already"):
        firstedge.chain(without, setup, date="2026-06-01")
    assert firstedge.chain_budget(setup, date="2026-06-01")["kind"] == result["kind"]


def test_a_network_of_differences_closes():
    result = firstedge.closure([("a", "b", 1e-9, 1e-12), ("b", "c", 2e-9, 1e-12), ("a", "c", 3e-9, 1e-12)])
    assert result.warnings == []
    mean = firstedge.repeats([1.0e-9, 1.1e-9, 0.9e-9, 1.0e-9])
    assert "1.0" in mean.answer


def test_jitter_counts_and_sums_as_numpy_does(stamps):
    result = firstedge.jitter(stamps, [("bare", "amplified")], method="template_fit")
    first, second = (stamps.select(name, "template_fit", pulse=0).array for name in ("bare", "amplified"))
    first, second = (one[one["flags"] == 0] for one in (first, second))
    _, i, k = numpy.intersect1d(first["record"], second["record"], return_indices=True)
    difference_s = first["time_s"][i] - second["time_s"][k]
    assert result.pairs_used.value == len(difference_s)
    # Rounding of sums of some hundred times of 1e-8 s to 1e-16 each.
    assert result.mean.value == pytest.approx(difference_s.mean(), rel=0, abs=1e-21)
    assert result.standard_deviation.value == pytest.approx(difference_s.std(ddof=1), rel=1e-9)
    low, high = numpy.quantile(difference_s, [0.158655, 0.841345])
    # The quantiles of a normal distribution at one standard deviation, given to 6 digits.
    assert result.central_half_width.value == pytest.approx((high - low) / 2, rel=1e-3)
    bars = result["plots"]["differences_1"]["series"][0]
    middles = numpy.array(bars["x"])
    edges = numpy.concatenate([middles - (middles[1] - middles[0]) / 2, [middles[-1] + (middles[1] - middles[0]) / 2]])
    counts, _ = numpy.histogram(difference_s, edges)
    numpy.testing.assert_array_equal(counts, bars["y"])
