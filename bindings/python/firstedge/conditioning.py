"""Baseline and filters."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import numpy

from . import _core
from ._inputs import json_of


def conditioner(
    interval_s: float,
    *,
    baseline: Mapping[str, Any] | None = None,
    filters: Sequence[Mapping[str, Any]] = (),
) -> _core.Conditioner:
    """Baseline and filters made ready for traces sampled every interval_s: conditioner(...)(samples).

    interval_s: from sample to sample, s. baseline, filters: as in a Setup (docs/setup.md), such as {"method": "mean",
    "window": ["-49 ns", "-1 ns"]} and [{"kind": "bessel", "cut": "400 MHz"}]; without them, an automatic baseline and
    no filter. Raises Error for filters
    that cannot be designed. Source: baseline, state levels of IEEE Std 181; filters, see filter.
    """
    return _core.Conditioner(
        interval_s, json_of(baseline or {}, "baseline"), [json_of(one, "filter") for one in filters]
    )


def condition(
    samples: Any,
    interval_s: float | None = None,
    *,
    baseline: Mapping[str, Any] | None = None,
    filters: Sequence[Mapping[str, Any]] = (),
    threads: int = 0,
) -> _core.Conditioned:
    """conditioner(interval_s, ...)(samples): a Trace, or volts of shape (samples,) or (records, samples).

    samples: of a Trace the interval is known; of an array interval_s (s) is needed, and its first sample is at 0 s.
    baseline, filters: see conditioner. threads: 0 takes all processors. Volts in, volts out, without the baseline.
    Raises Error for arrays that cannot be used. Source: state levels of IEEE Std 181.
    """
    interval = interval_of(samples, interval_s)
    if baseline or filters:
        return conditioner(interval, baseline=baseline, filters=filters)(samples, threads)
    return _plain(interval)(samples, threads)


@functools.lru_cache(maxsize=64, typed=True)
def _plain(interval_s: float) -> _core.Conditioner:
    """The conditioner with an automatic baseline and no filter, kept from call to call."""
    return conditioner(interval_s)


def filter(interval_s: float, **settings: Any) -> _core.Filter:  # noqa: A001
    """One filter made ready: filter(0.2e-9, kind="butterworth", order=4, cut="400 MHz")(volts).

    interval_s: from sample to sample, s. settings: as in a Setup's list "filters" (docs/setup.md); quantities in SI or
    as texts. Raises Error for what cannot be designed. Source: S. Butterworth, Exp. Wireless 7 (1930) 536; W. E.
    Thomson, Proc. IEE 96 (1949) 487 (both from memory).
    """
    return _core.Filter(interval_s, json_of(settings, "filter"))


def interval_of(samples: Any, interval_s: float | None) -> float:
    """A Trace's own interval, or the one that was given."""
    # Arrays first: Python tells them at a glance, and a type of the module by a search.
    if not isinstance(samples, numpy.ndarray) and isinstance(samples, _core.Trace):
        return samples.interval_s
    if interval_s is None:
        raise _core.Error("interval_s", "is missing", "give the seconds from sample to sample, or a firstedge.Trace")
    return interval_s
