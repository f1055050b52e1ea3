"""Simulated runs: records of a planned bench and the truth of every pulse."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any, Union

from . import _core
from ._inputs import Path, json_of, provenance_of
from .results import Result
from .stamps import Stamps

PlanLike = Union[Path, Mapping[str, Any]]


def _planned(plan: PlanLike, records: int | None, seed: int | None) -> tuple[_core.Simulation, list[str]]:
    """The simulation, and the file that its plan came from, if it did."""
    if isinstance(plan, Mapping):
        return _core.Simulation.parse(json_of(plan, "plan"), records, seed), []
    return _core.Simulation.read(plan, records, seed), [os.fspath(plan)]


def simulate(
    plan: PlanLike, *, records: int | None = None, seed: int | None = None, first: int = 0
) -> tuple[_core.Block, Stamps]:
    """Simulated records and their truth in memory: (block, truth) (firstedge-simulate).

    plan: a JSON file or a dict, names as in sample_data/bench.plan.json; quantities in SI or as texts ("0.2 ns").
    records, seed: in place of the plan's. first: the record to begin with; each is the same whatever came before.
    block["channel"] is a Trace of shape (records, samples); truth has a stamp a pulse: the time (s) at which the
    noiseless pulse crosses half of its height (V). Same plan and seed, same arrays. Raises Error for a plan without
    sense and for more samples than memory should hold (2^30). Source: engines std::mt19937_64, one a record.
    """
    simulation, files = _planned(plan, records, seed)
    made_by = provenance_of("simulate", files, records=records, seed=seed)
    block, truth = simulation.made(first, simulation.records - first if first < simulation.records else 1, made_by)
    return block, Stamps._of(truth)


def simulate_run(
    plan: PlanLike,
    output: Path,
    truth: Path | None = None,
    *,
    records: int | None = None,
    seed: int | None = None,
    deflate_level: int = 4,
    progress: Callable[[int, float | None], Any] | None = None,
) -> Result:
    """Writes a simulated run of any length into a file, and says what is in it (firstedge-simulate).

    plan: a JSON file or a dict (see simulate). output: the file of records, HDF5. truth: a stamp table of the true
    times (s), .h5 or .csv; None: none. records, seed: in place of the plan's. deflate_level: 0 to 9, 0: none.
    progress: called with records done and share; it may raise to end the run, as Ctrl-C does. Files appear when whole.
    Raises Error for a plan without sense and files that cannot be made. Source: the bound, S. Kay, Fundamentals of
    Statistical Signal Processing: Estimation Theory (1993), ex. 3.13 (from memory).
    """
    simulation, files = _planned(plan, records, seed)
    made_by = provenance_of("simulate_run", files, output=os.fspath(output), records=records, seed=seed)
    simulation.write(output, truth, deflate_level, made_by, progress)
    return Result(simulation.described(made_by))
