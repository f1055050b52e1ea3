"""Delays of cables and boxes: measured, closed into networks, repeated, and taken out of stamps."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Union

from . import _core
from ._calls import StampsLike, result_of, stamps_and_files
from ._inputs import Files, SetupLike, files_of, setup_of
from .results import Result
from .stamps import Stamps

#: (first, second, difference in s, standard uncertainty in s), and the name of an unknown offset where one is shared.
Difference = Union[tuple[str, str, float, float], tuple[str, str, float, float, str]]


def through(
    files: Files,
    setup: SetupLike = None,
    *,
    before: str = "",
    after: str = "",
    then: Files = (),
    most_records: int = 20_000,
) -> Result:
    """The delay (s) from the pulse in one channel to that in another (firstedge-delay through).

    files, setup: the run. before, after: the channels; '': the first two. then: files of a second run with the same
    trigger, in which the pulse after was recorded. most_records: from the start. Raises Error for names that are not
    there and channels with different sample intervals. Source: mean and its uncertainty, JCGM 100:2008, 4.2.3.
    """
    names, chosen = files_of(files), setup_of(setup)
    second = files_of(then) if then else []
    found, problems = _core.through(names, chosen, before, after, second, most_records)
    return result_of(found, "through", names + second, chosen, problems, before=before, after=after)


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
    """A cable's delay (s) and mismatches (ohm) from echoes at its near end (firstedge-delay reflection).

    files, setup: the run. channel: '': the first. end: 'open', 'shorted' or 'matched'. cut_s: where the pulse is over
    and echoes may start, s; None: found. impedance_ohm: of the cable at its near end. most_records: from the start.
    Raises Error for a channel that is not there or never has a pulse. Source: J. A. Stratton, Electromagnetic Theory
    (1941), 9.11 (section from memory).
    """
    names, chosen = files_of(files), setup_of(setup)
    found, problems = _core.reflection(names, chosen, channel, end, cut_s, impedance_ohm, most_records)
    return result_of(found, "reflection", names, chosen, problems, channel=channel, end=end)


def closure(differences: Iterable[Difference], reference: str = "") -> Result:
    """Closes a network of measured differences (firstedge-delay closure).

    differences: (first, second, difference in s, standard uncertainty in s) each, with the name of an unknown offset
    as a fifth where several share one. reference: what counts as zero; '': the first name. Raises Error for
    uncertainties that are not positive and unknowns that nothing ties to the reference. Source: W. Baarda, A testing
    procedure for use in geodetic networks (1968; from memory).
    """
    rows = [(*row[:4], row[4] if len(row) > 4 else "") for row in differences]
    return result_of(_core.closure(rows, reference), "closure", [], differences=rows, reference=reference)


def clock_trip(
    visits: Iterable[tuple[str, float, float, float]],
    home: str = "",
    *,
    drift: bool = False,
    white_frequency: float = 0.0,
) -> Result:
    """Offsets (s) of stations' clocks by a portable one (firstedge-delay clock-trip).

    visits: (station, time in s of any origin, offset in s of the portable less the station's clock, standard
    uncertainty in s) each. home: the station the others are held against; '': the first. drift: fit a drift of the
    portable clock's rate as well. white_frequency: its Allan deviation at 1 s. Raises Error for fewer than two visits
    at home apart in time (three with drift). Source: W. J. Riley, NIST SP 1065 (2008), 6 (section from memory).
    """
    rows = [(station, time, offset, uncertainty) for station, time, offset, uncertainty in visits]
    found = _core.clock_trip(rows, home, drift, white_frequency)
    return result_of(found, "clock_trip", [], visits=rows, home=home, drift=drift, white_frequency=white_frequency)


def repeats(
    delays_s: Iterable[float],
    temperatures_c: Iterable[float] = (),
    *,
    at_c: float | None = None,
    temperature_uncertainty_c: float = 0.0,
) -> Result:
    """Mean and temperature coefficient of repeated measurements of one delay (firstedge-delay repeats).

    delays_s: s. temperatures_c: one a delay, °C, or none. at_c: the temperature that the delay is given for, °C; None:
    the mean. temperature_uncertainty_c: where the delay is used, K. Raises Error for lists of different lengths.
    Source: JCGM 100:2008, 4.2.3.
    """
    delays, temperatures = [float(one) for one in delays_s], [float(one) for one in temperatures_c]
    found = _core.repeats(delays, temperatures, at_c, temperature_uncertainty_c)
    return result_of(found, "repeats", [], delays_s=delays, temperatures_c=temperatures)


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
    """Takes the delays (s) of cables and boxes out of stamps: (stamps without them, how well they are known).

    stamps: a table or its file. setup: with elements and chains. date: of the records ("2026-11-02", ISO 8601 or an
    Instant), where they have no trigger instants. flag_expired: where no calibration is valid use the nearest and flag
    the stamps; else Error. seed: of the Monte Carlo. The program is firstedge-chain. Raises Error for stamps without
    their delays already. Source: JCGM 100:2008 and JCGM 101:2008.
    """
    chosen = setup_of(setup)
    table, files = stamps_and_files(stamps)
    without, found = _core.chain(table._table, chosen, _date(date), flag_expired, seed)
    return Stamps._of(without), result_of(found, "chain", files, chosen, seed=seed)


def put_back(stamps: StampsLike) -> Stamps:
    """Puts the delays (s) back that chain took out of these stamps (firstedge-chain --put-back).

    stamps: a table or its file. Raises Error where none were taken out. Source: the table itself says what was.
    """
    return Stamps._of(_core.put_back(stamps_and_files(stamps)[0]._table))


def chain_budget(
    setup: SetupLike,
    *,
    date: str | _core.Instant | None = None,
    flag_expired: bool = False,
    seed: int = 1,
) -> Result:
    """How long (s) the chains of a Setup are and how well that is known, without stamps (firstedge-chain).

    setup, date, flag_expired, seed: as of chain. Raises Error where no calibration is valid. Source: JCGM 100:2008 and
    JCGM 101:2008.
    """
    chosen = setup_of(setup)
    found = _core.chain_budget(chosen, _date(date), flag_expired, seed)
    return result_of(found, "chain_budget", [], chosen, seed=seed)
