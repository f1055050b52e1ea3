"""Stamp tables: whole runs stamped, tables read, seen as NumPy arrays and pandas frames."""

from __future__ import annotations

import contextlib
import logging
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy

from . import _core
from ._inputs import Files, Path, SetupLike, Templates, files_of, provenance_of, setup_of, templates_of
from .results import Result

_LOGGER = logging.getLogger("firstedge")


class Stamps:
    """All stamps of a run, one a pulse and method.

    stamps: an array of firstedge.STAMP (or with fields of these names), shape (stamps,); its fields `channel` and
    `method` count in the names given. Raises Error for stamps whose channel or method has no name.
    """

    def __init__(self, stamps: Any, channels: Sequence[str], methods: Sequence[str], title: str = "") -> None:
        self._table = _core.StampTable(_as_stamps(stamps), list(channels), list(methods), title)
        #: The summary of the run that made them, where one did: what was stamped, flagged and learnt.
        self.summary: Result | None = None
        #: The pulse templates in use, where a run made them.
        self.templates: list[_core.PulseTemplate] = []

    @classmethod
    def _of(cls, table: _core.StampTable) -> Stamps:
        stamps = cls.__new__(cls)
        stamps._table, stamps.summary, stamps.templates = table, None, []
        return stamps

    @property
    def array(self) -> numpy.ndarray[Any, Any]:
        """Structured array of firstedge.STAMP, shape (stamps,): the stamps themselves, not to be written."""
        return self._table.array

    @property
    def channels(self) -> list[str]:
        """Names of the channels, in the order that field `channel` counts."""
        return self._table.channels

    @property
    def methods(self) -> list[str]:
        """Names of the methods, in the order that field `method` counts."""
        return self._table.methods

    @property
    def channel_heads(self) -> list[dict[str, Any]]:
        """Of each channel name, sensor, interval_s, load_ohm, noise_v."""
        return self._table.channel_heads

    @property
    def method_heads(self) -> list[dict[str, str]]:
        """Of each method name and settings."""
        return self._table.method_heads

    @property
    def title(self) -> str:
        """What the run is called; '' without one."""
        return self._table.title

    @property
    def setup(self) -> str:
        """The text of the Setup that made them; '' without one."""
        return self._table.setup

    @property
    def triggers(self) -> numpy.ndarray[Any, Any]:
        """Instants of the records that have one: fields record, seconds, femtoseconds, scale; see datetime64()."""
        return self._table.triggers

    def select(self, channel: str | None = None, method: str | None = None, pulse: int | None = None) -> Stamps:
        """The stamps of one channel, one method, one pulse of each record (0: the first), in order.

        Raises Error for a name that is not there.
        """
        array = self.array
        keep = numpy.ones(len(array), bool)
        if channel is not None:
            keep &= array["channel"] == _number_of(channel, self.channels, "channel")
        if method is not None:
            keep &= array["method"] == _number_of(method, self.methods, "method")
        if pulse is not None:
            keep &= array["pulse"] == pulse
        return self.where(keep)

    def where(self, keep: Any) -> Stamps:
        """The stamps that a mask of shape (stamps,) keeps, or those of an index array."""
        return Stamps._of(self._table.with_stamps(numpy.ascontiguousarray(self.array[keep])))

    def frame(self) -> Any:
        """A pandas DataFrame, one row a stamp; channel and method by name, as categories."""
        import pandas

        frame = pandas.DataFrame({name: self.array[name] for name in _core.STAMP.names})
        for field, names in (("channel", self.channels), ("method", self.methods)):
            frame[field] = pandas.Categorical.from_codes(self.array[field].astype("int32"), names)
        return frame

    def write(self, file: Path) -> None:
        """Writes the table, .h5 or .csv; appears under its name only when whole."""
        self._table.write(file)

    def __len__(self) -> int:
        return len(self.array)

    def __getitem__(self, field: str) -> numpy.ndarray[Any, Any]:
        """One field as a view, shape (stamps,)."""
        if not isinstance(field, str) or field not in _core.STAMP.names:
            raise _core.Error(
                f"field '{field}'", "is none of a stamp's", "the fields are " + ", ".join(_core.STAMP.names)
            )
        return self.array[field]

    def __repr__(self) -> str:
        return f"<firstedge.Stamps {len(self)} of {', '.join(self.channels)} by {', '.join(self.methods)}>"


def _as_stamps(stamps: Any) -> numpy.ndarray[Any, Any]:
    array = numpy.asarray(stamps)
    if array.dtype == _core.STAMP:
        return numpy.ascontiguousarray(array)
    missing = [name for name in _core.STAMP.names if name not in (array.dtype.names or ())]
    if missing:
        raise _core.Error("stamps", f"has no field {missing[0]}", "give an array of firstedge.STAMP")
    made = numpy.empty(array.shape, _core.STAMP)
    for name in _core.STAMP.names:
        made[name] = array[name]
    return made


def _number_of(name: str, names: list[str], what: str) -> int:
    if name not in names:
        raise _core.Error(f"{what} '{name}'", "is not in this table", f"it has {', '.join(names)}")
    return names.index(name)


def read_stamps(file: Path) -> Stamps:
    """Reads a stamp table: times in s, heights in V, as firstedge.STAMP says.

    file: .h5 or .csv. Raises Error for anything else. Source: the layout stands in docs/file-layouts.md.
    """
    return Stamps._of(_core.StampTable.read(file))


def stamp(
    files: Files,
    setup: SetupLike = None,
    output: Path | None = None,
    *,
    templates: Templates = None,
    part: tuple[int, int] | None = None,
    threads: int = 0,
    progress: Callable[[int, float | None], Any] | None = None,
) -> Stamps:
    """Stamps a whole run: the same call, and the same bits, as the program firstedge-stamp.

    files: files or folders of one run in order, or a pattern. setup: a JSON file, a dict, or None for the defaults.
    output: the stamp table to write, .h5 or .csv; None writes none that stays. templates: a file or a list to use in
    place of learning them. part: (k, K), to stamp the k-th of K parts of the records alone, k from 1 to K, for merge.
    threads: 0 takes all processors. progress: called after each block with the records done and the share of the input
    read (None where not known); it may raise to end the run, as Ctrl-C does.

    A run into an output that was stopped goes on where it was when the same call is made again, from a journal beside
    the table; the logger "firstedge" says so (docs/many-machines.md).

    Raises Error when nothing can be learnt or the Setup does not fit the run. What is damaged in the files stands in
    summary.problems. Stamps come back into memory: 104 bytes each, times in s. Source: docs/accuracy.md holds every
    method against the Cramer-Rao bound.
    """
    names, chosen, given = files_of(files), setup_of(setup), templates_of(templates)
    # The call without part and output, which do not change a stamp; the run digests the files beside its work.
    made_by = provenance_of("stamp", names, chosen, digests=False)
    keeps_journal = output is not None
    with _table_at(output) as table:
        run = _core.stamp(
            names, chosen, table, made_by, threads, given, part, keeps_journal, _LOGGER.warning, progress
        )
        stamps = read_stamps(table)
    stamps.summary = Result(run.result, run.problems)
    stamps.templates = run.templates
    return stamps


def merge(parts: Files, output: Path | None = None) -> Stamps:
    """Puts the tables of all parts of a run together, as firstedge-stamp --merge does, bit for bit.

    parts: the tables that stamp(..., part=(k, K)) or firstedge-stamp --part wrote, in any order, or a pattern. output:
    the table of the whole run to write, .h5 or .csv; None writes none that stays. Times are in s. Raises Error for a
    part that is missing or given twice, and for parts of different runs. Source: docs/many-machines.md.
    """
    names = files_of(parts)
    made_by = provenance_of("merge", names)
    with _table_at(output) as table:
        found = _core.merge(names, table, made_by)
        stamps = read_stamps(table)
    stamps.summary = Result(found)
    return stamps


@contextlib.contextmanager
def _table_at(output: Path | None) -> Iterator[str]:
    """Where a table is to be written: the file that was named, or one that is there as long as the context."""
    if output is not None:
        yield os.fspath(output)
        return
    with tempfile.TemporaryDirectory(prefix="firstedge-") as folder:
        yield os.path.join(folder, "stamps.h5")


#: datetime64[ns] holds 64 bits of nanoseconds.
_LAST_SECOND = 9_223_372_035


def datetime64(triggers: Any, *, leap: str = "raise") -> numpy.ndarray[Any, Any]:
    """Arrays of instants as numpy.datetime64[ns] on their own scale, rounded to 1 ns, same shape.

    triggers: an array with the fields seconds and femtoseconds, such as Stamps.triggers, arrivals() or CounterClock.at.
    leap: what becomes of an instant within a leap second of UTC, which datetime64 does not have: 'raise' raises Error,
    'NaT' gives NaT. Raises Error outside 1678 to 2262 too. Source: NumPy's datetime64 counts days of 86,400 s.
    """
    if leap not in ("raise", "NaT"):
        raise _core.Error(f"leap '{leap}'", "is neither 'raise' nor 'NaT'", "name one of them")
    inside = numpy.asarray(triggers["femtoseconds"] >= 1_000_000_000_000_000)
    if leap == "raise" and inside.any():
        where = int(numpy.flatnonzero(inside)[0])
        raise _core.Error(
            f"instant {where}", "is in a leap second, which datetime64 does not have",
            "convert it to TAI first, or take leap='NaT'"
        )
    if (numpy.abs(triggers["seconds"]) > _LAST_SECOND).any():
        raise _core.Error("instants", "reach beyond what datetime64[ns] holds", "stay between the years 1678 and 2262")
    nanoseconds = triggers["seconds"] * 1_000_000_000 + (triggers["femtoseconds"] + 500_000) // 1_000_000
    times = nanoseconds.astype("datetime64[ns]")
    times[inside] = numpy.datetime64("NaT")
    return times
