"""Firstedge: arrival times from digitized pulses, with uncertainties that can be defended.

    stamps = firstedge.stamp("run/*.h5", setup="bench.setup.json")
    stamps.frame()                      # a pandas DataFrame, one row a pulse and method
    print(firstedge.jitter(stamps).answer)

All numbers come from the Firstedge library: the same calls, and the same bits, as the firstedge-* programs. SI units
everywhere; names carry their unit. Input that cannot be used raises firstedge.Error (a ValueError) with one sentence
that names the place and the remedy; a pulse that cannot be timed is a flag on its stamp. docs/python.md is the manual.
"""

from ._core import (
    STAMP,
    Block,
    BrowsedTrace,
    Channel,
    Conditioned,
    Conditioner,
    Filter,
    Instant,
    NoiseModel,
    PulseTemplate,
    Record,
    Setup,
    Trace,
    __version__,
    measure_pulse,
    read_templates,
    travel_time,
    welch,
    write_templates,
)
from .analyses import budget, compare, inspect, jitter, spectrum
from .browsing import Browser, browse
from .conditioning import condition, conditioner, filter  # noqa: A004
from .delays import chain, chain_budget, clock_trip, closure, put_back, reflection, repeats, through
from .errors import Error
from .flags import Flag, flag_names
from .records import Records, open_records
from .results import Figure, Result
from .simulation import simulate, simulate_run
from .stamps import Stamps, datetime64, merge, read_stamps, stamp
from .stations import CounterClock, agree, arrivals, compare_stations, convert, tie
from .timing import (
    channel,
    constant_fraction,
    delayed_fraction,
    leading_edge,
    learn,
    template_family,
    template_fit,
)

__all__ = [
    "Block",
    "BrowsedTrace",
    "Browser",
    "Channel",
    "Conditioned",
    "Conditioner",
    "CounterClock",
    "Error",
    "Figure",
    "Filter",
    "Flag",
    "Instant",
    "NoiseModel",
    "PulseTemplate",
    "Record",
    "Records",
    "Result",
    "STAMP",
    "Setup",
    "Stamps",
    "Trace",
    "__version__",
    "agree",
    "arrivals",
    "browse",
    "budget",
    "chain",
    "chain_budget",
    "channel",
    "clock_trip",
    "closure",
    "compare",
    "compare_stations",
    "condition",
    "conditioner",
    "constant_fraction",
    "convert",
    "datetime64",
    "delayed_fraction",
    "filter",
    "flag_names",
    "inspect",
    "jitter",
    "leading_edge",
    "learn",
    "measure_pulse",
    "merge",
    "open_records",
    "put_back",
    "read_stamps",
    "read_templates",
    "reflection",
    "repeats",
    "simulate",
    "simulate_run",
    "spectrum",
    "stamp",
    "template_family",
    "template_fit",
    "through",
    "tie",
    "travel_time",
    "welch",
    "write_templates",
]
