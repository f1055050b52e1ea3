"""The analyses: stamps or records in, a Result out. Each is the call that the program of its name makes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from . import _core
from ._calls import Flags, StampsLike, result_of, stamps_and_files
from ._inputs import Files, SetupLike, files_of, flags_of, provenance_of, setup_of
from .results import Result


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

    stamps: a table or its file. pairs: (first, second) by name, the difference is first less second; none: every pair.
    method: shown in full; '': the narrowest. allow: names of flags that do not keep a stamp out. lowest_height_v,
    highest_height_v: of both pulses, V. height_bins: of jitter against height, 1 to 100. blocks: along the run, at
    most, for what is told over time; 0 leaves that out. seed: of the bootstrap.

    Raises Error for names that are not in the table. Source: bound, S. Kay, Fundamentals of Statistical Signal
    Processing: Estimation Theory (1993), ex. 3.13 (from memory).
    """
    table, files = stamps_and_files(stamps)
    chosen = [(first, second) for first, second in pairs]
    found = _core.jitter(
        table._table, chosen, method, flags_of(allow), lowest_height_v, highest_height_v, height_bins, blocks, seed
    )
    return result_of(found, "jitter", files, pairs=chosen, method=method, seed=seed)


def spectrum(
    stamps: StampsLike,
    records: Files = (),
    *,
    setup: SetupLike = None,
    lowest_height_v: float | None = None,
    highest_height_v: float | None = None,
) -> Result:
    """Height (V) and charge (C) spectra of each channel; with the run, pedestals and frequency content (Hz) too.

    stamps: a table or its file. records: the run's own files. setup: to read them with; None: the one that the stamps
    were made with. lowest_height_v, highest_height_v: what is fitted, V; None: all. The program is firstedge-spectrum.
    Raises Error for files that are none. Source: peaks are fitted by Landau densities with a Gaussian (L. Landau,
    J. Phys. USSR 8 (1944) 201; from memory).
    """
    table, files = stamps_and_files(stamps)
    run = files_of(records) if records else []
    found = _core.spectrum(
        table._table, run, None if setup is None else setup_of(setup), lowest_height_v, highest_height_v
    )
    return result_of(found, "spectrum", files + run)


def compare(
    files: Files,
    setup: SetupLike = None,
    *,
    pair: tuple[str, str] = ("", ""),
    bare: str | None = None,
    amplified: str | None = None,
    thresholds: Sequence[float] | None = None,
    walks: Sequence[str] | None = None,
    fractions: Sequence[float] | None = None,
    delayed_fractions: Sequence[float] | None = None,
    delays: Sequence[float] | None = None,
    cuts: Sequence[float] | None = None,
    template_fit: bool = True,
    template_family: bool = False,
    allow: Flags = (),
    most_records: int = 20_000,
    threads: int = 0,
    seed: int = 1,
    progress: Callable[[int, float | None], Any] | None = None,
) -> Result:
    """Which method with which settings suits which channel, and whether an amplifier pays (firstedge-compare).

    files, setup: the run. pair: two channels; none: the first two. bare, amplified: channels to judge an amplifier by.
    What is tried, None for the usual: thresholds of leading edges over the median height, walks that correct them,
    fractions of the height, delayed_fractions with delays over the transition duration, cuts of low-passes over the
    signal band (all without unit); template_fit, template_family: whether they are. allow: names of flags that do not
    keep a stamp out. most_records: from the start. threads: 0 takes all processors. seed: of the bootstrap.
    progress: called with records done and share; it may raise to end the run, as Ctrl-C does.

    Figures are in s. Raises Error for names that are not there. Source: the chosen are judged on the other half by the
    largest statistic (P. Westfall, S. Young, Resampling-Based Multiple Testing (1993), ch. 2; from memory).
    """
    names, chosen = files_of(files), setup_of(setup)
    plan = _core.CandidatePlan()
    given = {"thresholds": thresholds, "walks": walks, "fractions": fractions, "delayed_fractions": delayed_fractions,
             "delays": delays, "cuts": cuts}
    for name, values in given.items():
        if values is not None:
            setattr(plan, name, list(values))
    plan.template_fit, plan.template_family = template_fit, template_family
    found, problems = _core.compare(
        names, chosen, pair[0], pair[1], bare, amplified, plan, flags_of(allow), most_records, threads, seed, progress
    )
    return result_of(found, "compare", names, chosen, problems, pair=pair, bare=bare, amplified=amplified, seed=seed)


def budget(
    files: Files,
    setup: SetupLike = None,
    *,
    pair: tuple[str, str] = ("", ""),
    method: str = "",
    most_records: int = 20_000,
    seed: int = 1,
) -> Result:
    """What limits the time of two channels, term by term (s), and what would help most (firstedge-budget).

    files, setup: the run. pair: two channels; none: the first two. method: by name; '': the one with the least spread.
    most_records: from the start. seed: of the bootstrap. Raises Error for names that are not there. Source: JCGM
    100:2008, 5 (terms added as squares).
    """
    names, chosen = files_of(files), setup_of(setup)
    found, problems = _core.budget(names, chosen, pair[0], pair[1], method, most_records, seed)
    return result_of(found, "budget", names, chosen, problems, pair=pair, method=method, seed=seed)


def inspect(files: Files, setup: SetupLike = None, *, most_records: int = 4000, against: Files = ()) -> Result:
    """What was recorded: channels, range and noise (V), pulses, and what is doubtful (firstedge-inspect).

    files, setup: the run. most_records: to look at, from the start. against: files of another run that the noise is
    held against. Raises Error if nothing can be read. Source: noise density (V^2/Hz) by P. D. Welch, IEEE Trans.
    AU-15 (1967) 70.
    """
    names, chosen = files_of(files), setup_of(setup)
    other = files_of(against) if against else []
    made_by = provenance_of("inspect", names + other, chosen, most_records=most_records)
    return Result(*_core.inspect(names, chosen, made_by, most_records, other))
