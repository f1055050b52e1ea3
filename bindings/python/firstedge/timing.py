"""Learning channels, and the timing methods on arrays."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy

from . import _core
from ._inputs import Files, SetupLike, Templates, files_of, json_of, setup_of, templates_of
from .conditioning import interval_of

_NAME = "channel"
#: Takes samples and a number of threads, gives stamps.
_Stamper = Callable[[Any, int], "numpy.ndarray[Any, Any]"]


def learn(
    files: Files | Mapping[str, _core.Trace],
    setup: SetupLike = None,
    templates: Templates = None,
) -> dict[str, _core.Channel]:
    """Learns noise, templates, families and walk corrections of each channel: {name: Channel}.

    files: files of one run, or {name: Trace of shape (records, samples)} with the same records of each. setup: only its
    first "learning_records" are looked at. templates: a file or a list to use in place of building them. Noise is in V,
    time in s. Raises Error for channels of the Setup that are not in the run, and where a method needs a template and
    not one channel could give any. Source: what firstedge-stamp learns, docs/accuracy.md.
    """
    chosen, given = setup_of(setup), templates_of(templates)
    if isinstance(files, Mapping):
        channels = _core.learn_from_traces(list(files.items()), chosen, given)
    else:
        channels = _core.learn_from_files(files_of(files), chosen, given)
    return {channel.name: channel for channel in channels}


def channel(
    interval_s: float,
    noise: float | _core.NoiseModel,
    *,
    methods: Sequence[Mapping[str, Any]] = ({"method": "constant_fraction"},),
    template: _core.PulseTemplate | None = None,
    baseline: Mapping[str, Any] | None = None,
    filters: Sequence[Mapping[str, Any]] = (),
    search: Mapping[str, Any] | None = None,
    load_ohm: float = 50.0,
    name: str = _NAME,
) -> _core.Channel:
    """A Channel of which all is known; nothing is learnt. channel(...).stamp(samples) stamps.

    interval_s: from sample to sample, s. noise: a NoiseModel, or the standard deviation of white noise, V, after the
    filters. methods, baseline, filters, search: as in a Setup (docs/setup.md). template: for the template fit, and for
    the bound of every method. load_ohm: what charges are reckoned with. name: of the channel. Raises Error for settings
    without sense and for methods that need what was not given. Source: the Setup's words, docs/setup.md.
    """
    model = noise if isinstance(noise, _core.NoiseModel) else _core.NoiseModel(noise, interval_s)
    setup = _one_channel(list(methods), baseline, filters, search, load_ohm)
    return _core.Channel.known(name, interval_s, model, setup, template)


def _one_channel(methods: list[Any], baseline: Any, filters: Any, search: Any, load_ohm: float) -> _core.Setup:
    every = {
        "load": load_ohm,
        "baseline": baseline or {},
        "filters": list(filters),
        "search": search or {},
        "timing": methods,
    }
    return _core.Setup.parse(json_of({"every_channel": every}, "settings"), "settings")


def _stamper(
    interval_s: float,
    method: str,
    options: Mapping[str, Any],
    *,
    noise: float | _core.NoiseModel | None = None,
    template: _core.PulseTemplate | None = None,
    baseline: Mapping[str, Any] | None = None,
    filters: Sequence[Mapping[str, Any]] = (),
    search: Mapping[str, Any] | None = None,
    load_ohm: float = 50.0,
) -> _Stamper:
    """What stamps samples by one method, its noise, template and so on learnt from them unless noise is given.

    options: of the method, as in a Setup; what is None is left to the defaults.
    """
    methods = [{"method": method, **{name: value for name, value in options.items() if value is not None}}]
    if noise is not None:
        return channel(
            interval_s,
            noise,
            methods=methods,
            template=template,
            baseline=baseline,
            filters=filters,
            search=search,
            load_ohm=load_ohm,
        ).stamp
    setup = _one_channel(methods, baseline, filters, search, load_ohm)

    def learn_and_stamp(samples: Any, threads: int) -> numpy.ndarray[Any, Any]:
        trace = samples if isinstance(samples, _core.Trace) else _core.Trace(samples, interval_s)
        name, given = (_NAME, []) if template is None else (template.channel, [template])
        return _core.learn_from_traces([(name, trace)], setup, given)[0].stamp(trace, threads)

    return learn_and_stamp


_SHARED = """

    samples: a Trace, or volts of shape (samples,) or (records, samples) with interval_s from sample to sample, the
    first at 0 s; how: further arguments, below. Pulses of either polarity are found and stamped; returned are the
    stamps, a structured array of firstedge.STAMP in the order of records and pulses: time_s with its standard
    uncertainty_s, height_v, flags, ...
    A pulse that cannot be timed has the time NaN and the flag not_timed.

    Further arguments: noise (a NoiseModel, or the standard deviation of white noise, V; without it, learnt from the
    samples), template (a PulseTemplate), baseline, filters, search (as in a Setup, docs/setup.md), load_ohm, threads
    (0: all processors). For many calls make a Channel once (firstedge.learn, firstedge.channel). Raises Error for
    settings without sense and arrays that cannot be used.
    """


def _of_samples(stamper_of: Callable[..., _Stamper]) -> Callable[..., numpy.ndarray[Any, Any]]:
    """A function of samples from one that gives what stamps them.

    stamper_of: takes the sample interval (s) and settings. What it gives is kept from call to call by these, as it
    takes longer to make than a trace to stamp.
    """
    kept = functools.lru_cache(maxsize=32, typed=True)(stamper_of)

    def timed(
        samples: Any, interval_s: float | None = None, *, threads: int = 0, **settings: Any
    ) -> numpy.ndarray[Any, Any]:
        interval = interval_of(samples, interval_s)
        try:
            stamp = kept(interval, **settings)
        except TypeError:  # settings that nothing can be kept by, such as dicts
            stamp = stamper_of(interval, **settings)
        return stamp(samples, threads)

    own, inner = inspect.signature(timed), inspect.signature(stamper_of)
    parameters = [own.parameters["samples"], own.parameters["interval_s"], *list(inner.parameters.values())[1:]]
    of_samples: Any = functools.update_wrapper(timed, stamper_of)  # help() shows what follows
    of_samples.__signature__ = own.replace(parameters=parameters)
    of_samples.__annotations__ = {one.name: one.annotation for one in parameters} | {"return": own.return_annotation}
    of_samples.__doc__ = (stamper_of.__doc__ or "").rstrip() + _SHARED
    return timed


@_of_samples
def constant_fraction(
    interval_s: float,
    *,
    fraction: float = 0.5,
    interpolation: str | None = None,
    edge_samples: int | None = None,
    **how: Any,
) -> _Stamper:
    """Times the crossing of a fraction of each pulse's own height.

    fraction: of the height, 0 to 1. interpolation, edge_samples: as in a Setup (docs/setup.md); None: the usual.
    Source: D. A. Gedcke, W. J. McDonald, Nucl. Instr. Meth. 58 (1968) 253 (from memory)."""
    options = {"fraction": fraction, "interpolation": interpolation, "edge_samples": edge_samples}
    return _stamper(interval_s, "constant_fraction", options, **how)


@_of_samples
def leading_edge(
    interval_s: float,
    *,
    threshold: float | str | None = None,
    threshold_over_noise: float | None = None,
    walk: str | None = None,
    interpolation: str | None = None,
    edge_samples: int | None = None,
    **how: Any,
) -> _Stamper:
    """Times the crossing of a fixed level (threshold, V or "20 mV"; else threshold_over_noise, 8).

    walk: "height", "time_over_threshold" or "slew" takes the walk out, learnt from the samples. interpolation,
    edge_samples: as in a Setup (docs/setup.md); None: the usual.
    Source: H. Spieler, Semiconductor Detector Systems (2005), ch. 4 (from memory)."""
    options = {
        "threshold": threshold,
        "threshold_over_noise": threshold_over_noise,
        "walk": walk,
        "interpolation": interpolation,
        "edge_samples": edge_samples,
    }
    return _stamper(interval_s, "leading_edge", options, **how)


@_of_samples
def delayed_fraction(
    interval_s: float,
    *,
    fraction: float = 0.3,
    delay: float | str = 0.8e-9,
    interpolation: str | None = None,
    edge_samples: int | None = None,
    **how: Any,
) -> _Stamper:
    """Times the zero crossing of fraction * s(t) - s(t - delay); delay in s or "0.8 ns", fraction of 0 to 1.

    interpolation, edge_samples: as in a Setup (docs/setup.md); None: the usual.
    Source: G. F. Knoll, Radiation Detection and Measurement (2010), ch. 17 (from memory)."""
    options = {"fraction": fraction, "delay": delay, "interpolation": interpolation, "edge_samples": edge_samples}
    return _stamper(interval_s, "delayed_fraction", options, **how)


@_of_samples
def template_fit(
    interval_s: float,
    *,
    fit_baseline: bool | None = None,
    poor_fit_probability: float | None = None,
    find_hidden_pulses: bool | None = None,
    **how: Any,
) -> _Stamper:
    """Times each pulse by the fit of the channel's mean shape; overlapping ones together.

    Without a template, one is built from the samples, which must hold enough pulses. fit_baseline: fit the level too.
    poor_fit_probability: below it a stamp is flagged poor_fit. find_hidden_pulses: those under others; None: the usual.
    Reaches the Cramer-Rao bound. Source: S. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory
    (1993), 3.9 (from memory)."""
    options = {
        "fit_baseline": fit_baseline,
        "poor_fit_probability": poor_fit_probability,
        "find_hidden_pulses": find_hidden_pulses,
    }
    return _stamper(interval_s, "template_fit", options, **how)


@_of_samples
def template_family(
    interval_s: float,
    *,
    components: int | None = None,
    fit_baseline: bool | None = None,
    poor_fit_probability: float | None = None,
    **how: Any,
) -> _Stamper:
    """Times each pulse by the fit of a shape with up to two ways of differing, learnt from the samples (noise too).

    components: ways of differing, 0 to 2; None: as many as the samples show. fit_baseline, poor_fit_probability: as of
    template_fit. Source: S. Wold, Technometrics 20 (1978) 397 (from memory)."""
    options = {"components": components, "fit_baseline": fit_baseline, "poor_fit_probability": poor_fit_probability}
    return _stamper(interval_s, "template_family", options, **how)
