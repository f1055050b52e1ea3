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
    welch,
    write_templates,
)
from .analyses import (
    budget,
    chain,
    chain_budget,
    closure,
    compare,
    convert,
    inspect,
    jitter,
    reflection,
    repeats,
    spectrum,
    through,
)
from .conditioning import condition, conditioner, filter  # noqa: A004
from .errors import Error
from .flags import Flag, flag_names
from .records import Records, open_records
from .results import Figure, Result
from .stamps import Stamps, datetime64, read_stamps, stamp
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
    "STAMP",
    "Block",
    "Channel",
    "Conditioned",
    "Conditioner",
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
    "Setup",
    "Stamps",
    "Trace",
    "__version__",
    "budget",
    "chain",
    "chain_budget",
    "channel",
    "closure",
    "compare",
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
    "open_records",
    "read_stamps",
    "read_templates",
    "reflection",
    "repeats",
    "spectrum",
    "stamp",
    "template_family",
    "template_fit",
    "through",
    "welch",
    "write_templates",
]
