"""Reading recorded traces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from . import _core
from ._inputs import Files, SetupLike, files_of, setup_of


class Records:
    """The records of one run, read in order; memory depends on the block, never on the files.

    Iterating gives Record after Record, from the first one each time. Damage in a file raises nothing: it is put
    into `account`, and the good records around it are given.
    """

    def __init__(self, files: list[str], setup: _core.Setup) -> None:
        self._files, self._setup = files, setup
        self._reader = _core.Records(files, setup)
        self._started = False

    @property
    def channels(self) -> list[str]:
        """Names, in the order of the files."""
        return self._reader.channels

    @property
    def format(self) -> str:
        """'hdf5', 'npy', 'text', 'binary' or 'block'."""
        return self._reader.format

    @property
    def record_count(self) -> int | None:
        """None when it takes a full read to know."""
        return self._reader.record_count

    @property
    def files(self) -> list[Any]:
        """The files as pathlib.Path; Record.file counts in them."""
        return self._reader.files

    @property
    def guesses(self) -> list[str]:
        """What had to be guessed, one sentence each, with the setting that overrides it."""
        return self._reader.guesses

    @property
    def metadata(self) -> Mapping[str, str]:
        """What the files say beside the records."""
        return self._reader.metadata

    @property
    def account(self) -> dict[str, Any]:
        """Of the latest reading: records_good, records_bad, traces_missing, problems, remarks."""
        return self._reader.account

    def blocks(self, records_in_block: int = 256) -> Iterator[_core.Block]:
        """Block after Block from the first record on; block["channel"] is a Trace of shape (records, samples)."""
        if self._started:
            self._reader = _core.Records(self._files, self._setup)
        self._started = True
        reader = self._reader
        while len(block := reader.next_block(records_in_block)) > 0:
            yield block

    def __iter__(self) -> Iterator[_core.Record]:
        for block in self.blocks():
            yield from block

    def __repr__(self) -> str:
        count = "" if self.record_count is None else f"{self.record_count} records, "
        return f"<firstedge.Records {self.format}, {count}channels {', '.join(self.channels)}>"


def open_records(files: Files, setup: SetupLike = None) -> Records:
    """Opens one run: files, folders, or a pattern such as "run/*.h5", in any format that Firstedge reads.

    files: in order. setup: its group "input" says how files are laid out that are not in our own layout. Traces know
    their scale: V a count, s from sample to sample. Raises Error if nothing can be read. Source: docs/file-layouts.md.
    """
    return Records(files_of(files), setup_of(setup))
