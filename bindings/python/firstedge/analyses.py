"""The analyses: stamps or records in, a Result out. Each is the call that the program of its name makes."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Union

from . import _core
from ._inputs import Files, Path, SetupLike, files_of, flags_of, provenance_of, setup_of
from .results import Result
from .stamps import Stamps, read_stamps

StampsLike = Union[Stamps, Path]
Flags = Iterable[str]


def _stamps(stamps: StampsLike) -> tuple[Stamps, list[str]]:
    """The stamps, and the file they came from, if they did."""
    return (stamps, []) if isinstance(stamps, Stamps) else (read_stamps(stamps), [os.fspath(stamps)])


def _result(
    found: _core.Result,
    function: str,
    files: list[str],
    setup: _core.Setup | None = None,
    problems: Sequence[str] = (),
    **options: Any,
) -> Result:
    return Result(found.with_provenance(provenance_of(function, files, setup, **options)), list(problems))


def jitter(
    stamps: StampsLike,
    pairs: Iterable[tuple[str, str]] = (),
    *,
    method: str = "",
    allow: Flags = (),
    lowest_height_v: float = 0.0,
    highest_height_v: float = math.inf,
    height_bins: int = 8,
    blocks: int = 1024,
    seed: int = 1,
) -> Result:
    """How well pairs of channels agree on the time of a particle, beside the Cramer-Rao bound (firstedge-jitter).

    pairs: (first, second) by name, the difference is first less second; none: every pair. method: shown in full; '':
    the narrowest. allow: flags that do not keep a stamp out. Raises Error for names that are not in the table.
    """
    table, files = _stamps(stamps)
    chosen = [(first, second) for first, second in pairs]
    found = _core.jitter(
        table._table, chosen, method, flags_of(allow), lowest_height_v, highest_height_v, height_bins, blocks, seed
    )
    return _result(found, "jitter", files, pairs=chosen, method=method, seed=seed)


def spectrum(
    stamps: StampsLike,
    records: Files = (),
    *,
    setup: SetupLike = None,
    lowest_height_v: float | None = None,
    highest_height_v: float | None = None,
) -> Result:
    """Height and charge spectra of each channel; with the run's records, pedestals and frequency content too.

    setup: to read the records with; None: the one that the stamps were made with. Heights in V bound the fit.
    """
    table, files = _stamps(stamps)
    run = files_of(records) if records else []
    found = _core.spectrum(
        table._table, run, None if setup is None else setup_of(setup), lowest_height_v, highest_height_v
    )
    return _result(found, "spectrum", files + run)


def compare(
    files: Files,
    setup: SetupLike = None,
    *,
    pair: tuple[str, str] = ("", ""),
    bare: str | None = None,
    amplified: str | None = None,
    allow: Flags = (),
    most_records: int = 20_000,
    threads: int = 0,
    seed: int = 1,
    progress: Callable[[int, float | None], Any] | None = None,
) -> Result:
    """Which method with which settings suits which channel, and whether an amplifier pays (firstedge-compare)."""
    names, chosen = files_of(files), setup_of(setup)
    found, problems = _core.compare(
        names, chosen, pair[0], pair[1], bare, amplified, flags_of(allow), most_records, threads, seed, progress
    )
    return _result(found, "compare", names, chosen, problems, pair=pair, bare=bare, amplified=amplified, seed=seed)


def budget(
    files: Files,
    setup: SetupLike = None,
    *,
    pair: tuple[str, str] = ("", ""),
    method: str = "",
    most_records: int = 20_000,
    seed: int = 1,
) -> Result:
    """What limits the time of two channels, term by term, and what would help most (firstedge-budget)."""
    names, chosen = files_of(files), setup_of(setup)
    found, problems = _core.budget(names, chosen, pair[0], pair[1], method, most_records, seed)
    return _result(found, "budget", names, chosen, problems, pair=pair, method=method, seed=seed)


def through(
    files: Files,
    setup: SetupLike = None,
    *,
    before: str = "",
    after: str = "",
    then: Files = (),
    most_records: int = 20_000,
) -> Result:
    """The delay from the pulse in channel `before` to that in `after` (firstedge-delay through).

    then: a second run with the same trigger, in which the pulse after was recorded.
    """
    names, chosen = files_of(files), setup_of(setup)
    second = files_of(then) if then else []
    found, problems = _core.through(names, chosen, before, after, second, most_records)
    return _result(found, "through", names + second, chosen, problems, before=before, after=after)


def reflection(
    files: Files,
    setup: SetupLike = None,
    *,
    channel: str = "",
    end: str = "open",
    cut_s: float | None = None,
    impedance_ohm: float = 50.0,
    most_records: int = 20_000,
) -> Result:
    """A cable's delay and mismatches from echoes at its near end; end: open, shorted or matched (firstedge-delay)."""
    names, chosen = files_of(files), setup_of(setup)
    found, problems = _core.reflection(names, chosen, channel, end, cut_s, impedance_ohm, most_records)
    return _result(found, "reflection", names, chosen, problems, channel=channel, end=end)


def closure(differences: Iterable[tuple[str, str, float, float]], reference: str = "") -> Result:
    """Closes a network of measured differences: (first, second, difference in s, standard uncertainty in s) each."""
    rows = [(first, second, difference, uncertainty) for first, second, difference, uncertainty in differences]
    return _result(_core.closure(rows, reference), "closure", [], differences=rows, reference=reference)


def repeats(
    delays_s: Iterable[float],
    temperatures_c: Iterable[float] = (),
    *,
    at_c: float | None = None,
    temperature_uncertainty_c: float = 0.0,
) -> Result:
    """Mean and temperature coefficient of repeated measurements of one delay, s, at these temperatures, °C.

    at_c: the temperature that the delay is given for; None: the mean.
    """
    delays, temperatures = [float(one) for one in delays_s], [float(one) for one in temperatures_c]
    found = _core.repeats(delays, temperatures, at_c, temperature_uncertainty_c)
    return _result(found, "repeats", [], delays_s=delays, temperatures_c=temperatures)


def _date(date: str | _core.Instant | None) -> _core.Instant | None:
    if not isinstance(date, str):
        return date
    return _core.Instant.parse(date + "T00:00:00Z" if len(date) == len("2026-11-02") else date)


def chain(
    stamps: StampsLike,
    setup: SetupLike,
    *,
    date: str | _core.Instant | None = None,
    flag_expired: bool = False,
    seed: int = 1,
) -> tuple[Stamps, Result]:
    """Takes the delays of cables and boxes out of stamps: (stamps without them, how well they are known).

    setup: with elements and chains. date: of the records, where they have no trigger instants. flag_expired: where no
    calibration is valid use the nearest and flag the stamps; else Error. The program is firstedge-chain.
    """
    table, files = _stamps(stamps)
    chosen = setup_of(setup)
    without, found = _core.chain(table._table, chosen, _date(date), flag_expired, seed)
    return Stamps._of(without), _result(found, "chain", files, chosen, seed=seed)


def chain_budget(
    setup: SetupLike,
    *,
    date: str | _core.Instant | None = None,
    flag_expired: bool = False,
    seed: int = 1,
) -> Result:
    """How long the chains of a Setup are and how well that is known, without stamps."""
    chosen = setup_of(setup)
    return _result(_core.chain_budget(chosen, _date(date), flag_expired, seed), "chain_budget", [], chosen, seed=seed)


def inspect(files: Files, setup: SetupLike = None, *, most_records: int = 4000, against: Files = ()) -> Result:
    """What was recorded: channels, range, baseline, noise, pulses, and what is doubtful (firstedge-inspect)."""
    names, chosen = files_of(files), setup_of(setup)
    other = files_of(against) if against else []
    made_by = provenance_of("inspect", names + other, chosen, most_records=most_records)
    return Result(*_core.inspect(names, chosen, made_by, most_records, other))


def convert(times: str | Iterable[str], scale: str = "UTC", *, leap_seconds: Path | None = None) -> Result:
    """Times on UTC, TAI and GPS time, as MJD and as GPS week (firstedge-clock convert).

    times: ISO 8601 ("2016-12-31T23:59:60Z"), "MJD 57754.25" or "week 1930 second 18.5". leap_seconds: a table; None:
    the system's.
    """
    texts = [times] if isinstance(times, str) else list(times)
    return _result(_core.convert(texts, scale, leap_seconds), "convert", [], times=texts, scale=scale)
