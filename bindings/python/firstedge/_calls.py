"""What the analyses share: stamps that are given as a table or as a file, and results that say what made them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from typing import Any, Union

from . import _core
from ._inputs import Path, provenance_of
from .results import Result
from .stamps import Stamps, read_stamps

StampsLike = Union[Stamps, Path]
Flags = Iterable[str]


def stamps_and_files(stamps: StampsLike) -> tuple[Stamps, list[str]]:
    """The stamps, and the file they came from, if they did."""
    return (stamps, []) if isinstance(stamps, Stamps) else (read_stamps(stamps), [os.fspath(stamps)])


def table_and_files(stamps: StampsLike) -> tuple[_core.StampTable | str, list[str]]:
    """The stamps as they are given, not read, and the file that they are in, if they are."""
    return (stamps._table, []) if isinstance(stamps, Stamps) else (os.fspath(stamps), [os.fspath(stamps)])


def result_of(
    found: _core.Result,
    function: str,
    files: list[str],
    setup: _core.Setup | None = None,
    problems: Sequence[str] = (),
    **options: Any,
) -> Result:
    """What the library found, with the call that made it."""
    return Result(found.with_provenance(provenance_of(function, files, setup, **options)), list(problems))
