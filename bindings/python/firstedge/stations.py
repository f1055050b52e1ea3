"""Times that two stations share: arrivals compared, counters tied to pulses per second, clocks by satellites."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any, Union

import numpy

from . import _core
from ._calls import Flags, StampsLike, result_of, stamps_and_files, table_and_files
from ._inputs import Files, Path, files_of, flags_of
from .results import Result

_NOT_LABELLED = numpy.iinfo(numpy.int64).min
#: A stamp table, its file, a CSV of instants, or an array with the fields seconds and femtoseconds.
Arrivals = Union[StampsLike, "numpy.ndarray[Any, Any]"]


def convert(times: str | Iterable[str], scale: str = "UTC", *, leap_seconds: Path | None = None) -> Result:
    """Times on UTC, TAI and GPS time, as MJD and as GPS week (firstedge-clock convert).

    times: ISO 8601 ("2016-12-31T23:59:60Z"), "MJD 57754.25" (days) or "week 1930 second 18.5" (s). scale: of texts that
    do not say theirs. leap_seconds: a table; None: the system's. Raises Error for other texts and before 1972. Source:
    TAI less GPS time is 19 s (IS-GPS-200, 3.3.4).
    """
    texts = [times] if isinstance(times, str) else list(times)
    return result_of(_core.convert(texts, scale, leap_seconds), "convert", [], times=texts, scale=scale)


def arrivals(
    stamps: StampsLike, channel: str, method: str = "", *, pulse: int | None = None, allow: Flags = ()
) -> numpy.ndarray[Any, Any]:
    """The instants of one channel's pulses: each record's trigger and the stamp's time, to 1 fs.

    stamps: a table or its file. channel, method: by name; method '': the first. pulse: of each record, 0 for the first;
    None: all. allow: names of flags that do not keep a stamp out. Returns a structured array of shape (arrivals,):
    record, seconds and femtoseconds (int64, since 1970 on the scale), scale, uncertainty_s. Raises Error for names that
    are not there and records without triggers. Source: the table's own triggers.
    """
    table, _ = stamps_and_files(stamps)
    return _core.arrivals(table._table, channel, method, pulse, flags_of(allow))


def _scale_of(arrays: list[Any], scale: str) -> str:
    """The one scale beside UTC (which instants of text say themselves) that arrays of instants are on."""
    saying = [one["scale"] for one in arrays if "scale" in (one.dtype.names or ())]
    others = sorted({name.decode() for scales in saying for name in numpy.unique(scales)} - {"UTC"})
    if len(others) > 1:
        raise _core.Error("arrivals", f"are on {' and '.join(others)}", "bring them onto one scale")
    return others[0] if others else scale


def _list_of(instants: numpy.ndarray[Any, Any], name: str, scale: str) -> _core.InstantList:
    """An array of instants as the library takes it; scale: of one that does not say its own."""
    fields = instants.dtype.names or ()
    whole = [instants[field] for field in ("seconds", "femtoseconds") if field in fields]
    if instants.ndim != 1 or len(whole) < 2 or any(numbers.dtype.kind not in "iu" for numbers in whole):
        raise _core.Error(
            name, "is no array of instants", "give whole seconds and femtoseconds as its fields, shape (arrivals,)"
        )
    named = sorted({name.decode() for name in numpy.unique(instants["scale"])} if "scale" in fields else {scale})
    if len(named) > 1:
        raise _core.Error(name, f"has instants on the scales {' and '.join(named)}", "bring them onto one")
    seconds, femtoseconds = (numpy.ascontiguousarray(numbers, "int64") for numbers in whole)
    known = numpy.ascontiguousarray(instants["uncertainty_s"], "float64") if "uncertainty_s" in fields else None
    return _core.InstantList(name, seconds, femtoseconds, known, named[0] if named else scale)


def _station(given: Arrivals, name: str, scale: str) -> tuple[_core.InstantList | _core.StampTable | str, list[str]]:
    """One station's arrivals as the library takes them, and the file that was given, if one was."""
    if isinstance(given, numpy.ndarray):
        return _list_of(given, name, scale), []
    return table_and_files(given)


def agree(
    first: Arrivals,
    second: Arrivals,
    pairs: Iterable[tuple[str, str]] = (),
    *,
    distance_m: float = 0.0,
    distance_uncertainty_m: float = 0.0,
    beta: float = 1.0,
    beta_uncertainty: float = 0.0,
    momentum_mev: float | None = None,
    momentum_uncertainty_mev: float = 0.0,
    mass_mev: float = _core.MUON_MASS_MEV,
    clock_uncertainty_s: float = 0.0,
    window_s: float = 1e-6,
    method: str = "",
    allow: Flags = (),
    scale: str = "UTC",
    seed: int = 1,
) -> Result:
    """Whether two stations have the same time, and what is most likely wrong if not (firstedge-agree).

    first, second: arrivals of the same particles at both: Stamps with triggers, a file of them, a CSV of instants, or
    an array with the fields seconds and femtoseconds (and scale, uncertainty_s), as arrivals() gives. pairs: a channel
    of each; none: in the order of the tables. distance_m, distance_uncertainty_m: from the first to the second, m.
    beta, beta_uncertainty: speed over that of light; or momentum_mev, momentum_uncertainty_mev (MeV/c) with mass_mev
    (MeV/c^2, the muon's). clock_uncertainty_s: of each station's clock, s. window_s: how far from the expected time a
    partner is looked for, s. method: by name; '': the first of each table. allow: names of flags that do not keep a
    stamp out. scale: of instants that do not say theirs. seed: of the Monte Carlo.

    Raises Error for names that are not there, stations on two scales, and a speed above that of light. Source: E_n of
    ISO/IEC 17043:2010, B.3.1.3 (from memory).
    """
    speed = (beta, beta_uncertainty)
    if momentum_mev is not None:
        speed = _core.beta_from_momentum(momentum_mev, momentum_uncertainty_mev, mass_mev)
    on = _scale_of([one for one in (first, second) if isinstance(one, numpy.ndarray)], scale)
    chosen = [(one, other) for one, other in pairs]
    here, here_files = _station(first, "first", on)
    there, there_files = _station(second, "second", on)
    found = _core.agree(
        here, there, chosen, method, flags_of(allow), on, (distance_m, distance_uncertainty_m), speed,
        clock_uncertainty_s, window_s, seed
    )
    return result_of(found, "agree", here_files + there_files, pairs=chosen, distance_m=distance_m, seed=seed)


class CounterClock:
    """A counter tied to UTC by pulses per second; made by tie. Call at() with readings of the counter."""

    def __init__(self, counter: _core.TiedCounter) -> None:
        self._counter = counter

    @property
    def rate_hz(self) -> float:
        """The counter's nominal rate, ticks a second."""
        return self._counter.rate_hz

    @property
    def mean_rate(self) -> float:
        """Mean of true seconds in a counter second, less 1; no unit."""
        return self._counter.mean_rate

    @property
    def readings(self) -> numpy.ndarray[Any, Any]:
        """The readings that were given with the edges (of stamps: the triggers) on UTC, fields as of at()."""
        return self._counter.readings

    def at(self, ticks: Any, fractions: Any = None, *, scale: str = "UTC") -> numpy.ndarray[Any, Any]:
        """The instants of readings of the counter.

        ticks: shape (readings,), whole or not. fractions: parts of a tick beside whole ticks, where 53 bits are too few
        for both in one. scale: 'UTC', 'TAI' or 'GPS'. Returns a structured array, shape (readings,): seconds and
        femtoseconds (int64), scale, uncertainty_s (standard, of the tie), from_edge_s (to the nearest edge used),
        holdover, in_slip. Raises Error for readings that are no time.
        """
        return self._counter.at(*_ticks_of(ticks, fractions), scale)

    def __repr__(self) -> str:
        return f"<firstedge.CounterClock {self.rate_hz:g} Hz>"


def _ticks_of(ticks: Any, fractions: Any) -> tuple[Any, Any]:
    """Whole ticks as int64 and parts of one as float64, shape (readings,) both."""
    array = numpy.atleast_1d(numpy.asarray(ticks))
    if array.dtype.kind in "iu":
        rest = numpy.zeros(array.shape) if fractions is None else numpy.atleast_1d(numpy.asarray(fractions, "float64"))
        return array.astype("int64", copy=False), rest
    if array.dtype.kind != "f" or fractions is not None or not numpy.isfinite(array).all():
        raise _core.Error("ticks", "are no finite numbers", "give whole ticks with fractions, or floating-point ticks")
    whole = numpy.floor(array)
    return whole.astype("int64"), array - whole


def _labels_of(seconds: Any, size: int) -> Any:
    """Seconds since 1970 as int64, or the mark of an edge that nothing labels."""
    if seconds is None:
        return numpy.full(size, _NOT_LABELLED)
    times = numpy.asarray(seconds)
    if times.dtype.kind != "M":
        raise _core.Error("seconds", f"are of type {times.dtype}", "give numpy.datetime64, NaT where not known")
    whole = times.astype("datetime64[s]")
    if not ((whole == times) | numpy.isnat(times)).all():
        raise _core.Error("seconds", "hold a time that is no whole second", "give the seconds that the edges mark")
    return whole.astype("int64")


def tie(
    edges: Any,
    rate_hz: float | None = None,
    *,
    fractions: Any = None,
    seconds: Any = None,
    corrections_s: Any = None,
    channel: str = "",
    method: str = "",
    readings: Any = None,
    reference_period_s: float | None = None,
    edge_delay_s: float = 0.0,
    reference_uncertainty_s: float = 0.0,
    leap_seconds: Path | None = None,
) -> tuple[CounterClock, Result]:
    """Ties a digitizer's counter to UTC by recorded pulses per second: (clock, how well) (firstedge-clock tie).

    edges: ticks of the counter at each pulse, shape (edges,), whole (with fractions of a tick beside them) or not; or a
    CSV of edges; or stamps (a table or its file) with the channel that records the pulses, and its method ('': the
    first). rate_hz: the counter's nominal rate, ticks a second; of stamps not needed. seconds: which second each edge
    marks, datetime64 on UTC, NaT where not known; one is enough. corrections_s: how late each edge left its receiver,
    s, NaN where not known. readings: ticks (or a CSV, beside a CSV of edges) whose times the result shall tell.
    reference_period_s: of the counter's reference, s. edge_delay_s: how late the pulses come at the counter, s.
    reference_uncertainty_s: standard, of the pulses and their delay, s. leap_seconds: a table; None: the system's.

    clock.at(ticks) then gives instants. Raises Error for a counter that stands still, no label, and fewer than 8 edges
    that can be used. Source: G. Giorgi, C. Narduzzi, IEEE Trans. IM 60 (2011) 2902 (from memory).
    """
    options = _core.TieOptions(reference_period_s, edge_delay_s, reference_uncertainty_s)
    files: list[str] = []
    if channel:
        table, files = table_and_files(edges)
        tied = _core.tie_stamps(table, channel, method, options, leap_seconds)
    elif rate_hz is None:
        raise _core.Error("rate_hz", "is missing", "give the counter's ticks a second, or stamps with their channel")
    elif isinstance(edges, (str, os.PathLike)):
        files = [os.fspath(one) for one in (edges, readings) if one is not None]
        tied = _core.tie_tables(edges, "" if readings is None else readings, rate_hz, options, leap_seconds)
    else:
        ticks, rest = _ticks_of(edges, fractions)
        late = numpy.full(ticks.shape, numpy.nan) if corrections_s is None else numpy.asarray(corrections_s, "float64")
        wanted = _ticks_of([] if readings is None else readings, None)
        labels = _labels_of(seconds, ticks.size)
        tied = _core.tie_arrays(ticks, rest, labels, late, *wanted, rate_hz, options, leap_seconds)
    return CounterClock(tied.counter), result_of(tied.result, "tie", files, None, tied.problems, rate_hz=rate_hz)


def compare_stations(
    first: Files,
    second: Files,
    third: Files = (),
    *,
    system: str = "",
    code: str = "",
    lowest_elevation_deg: float = 10.0,
    smoothing_s: float = 21_600.0,
    calibration_uncertainty_s: float | None = None,
    leap_seconds: Path | None = None,
) -> Result:
    """The clocks of two stations compared by CGGTTS files, version 2E (firstedge-clock compare).

    first, second: files of each. third: those of a third station, for a closure. system: letter of the satellites'
    system, code: of the signal, such as 'L3P'; '': those with the most tracks. lowest_elevation_deg: of a satellite,
    0 to 90. smoothing_s: half width of the smoothed course, s; 0: none. calibration_uncertainty_s: standard, of the
    stations' delays in the difference, s; None: not known. leap_seconds: a table; None: the system's.

    Damaged lines stand in problems. Raises Error for files of two stations in one list, and stations without a track
    in common. Source: P. Defraigne, G. Petit, Metrologia 52 (2015) G1.
    """
    stations = [files_of(one) for one in (first, second, third) if one]
    found, problems = _core.compare_station_files(
        stations, system, code, lowest_elevation_deg, smoothing_s, calibration_uncertainty_s, leap_seconds
    )
    files = [file for station in stations for file in station]
    return result_of(found, "compare_stations", files, None, problems, smoothing_s=smoothing_s)
