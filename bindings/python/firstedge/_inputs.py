"""What callers give, as the library takes it: files, Setups, groups of settings, templates, flags."""

from __future__ import annotations

import glob
import json
import os
from collections.abc import Iterable, Mapping
from typing import Any, Union

from . import _core
from .flags import Flag

Path = Union[str, "os.PathLike[str]"]
Files = Union[Path, Iterable[Path]]
SetupLike = Union[None, Path, Mapping[str, Any], _core.Setup]
Templates = Union[None, Path, Iterable[_core.PulseTemplate]]


def files_of(files: Files) -> list[str]:
    """The files of one run in order. A pattern ("run/*.h5") stands for what it matches, run_2 before run_10."""
    given = [files] if isinstance(files, (str, os.PathLike)) else list(files)
    found: list[str] = []
    for one in given:
        name = os.fspath(one)
        if glob.has_magic(name) and not os.path.exists(name):
            matches = _core.in_natural_order(glob.glob(name))
            if not matches:
                raise _core.Error(name, "no file has such a name", "give files, folders or a pattern that matches some")
            found += matches
        else:
            found.append(name)
    return found


def json_of(settings: Mapping[str, Any], place: str) -> str:
    """A group of settings as JSON text; NumPy numbers are numbers."""

    def plain(value: Any) -> Any:
        if hasattr(value, "tolist"):  # NumPy's numbers and arrays
            return value.tolist()
        raise TypeError(type(value).__name__)

    try:
        return json.dumps(settings, default=plain, allow_nan=False)
    except (TypeError, ValueError) as fault:
        problem = f"holds what JSON does not have ({fault})"
        raise _core.Error(place, problem, "give numbers, texts, lists and dicts") from None


def setup_of(setup: SetupLike) -> _core.Setup:
    """None for the defaults, a path to a JSON file, a dict, or a Setup."""
    if setup is None:
        return _core.Setup()
    if isinstance(setup, _core.Setup):
        return setup
    if isinstance(setup, Mapping):
        return _core.Setup.parse(json_of(setup, "setup"))
    return _core.Setup.read(setup)


def templates_of(templates: Templates) -> list[_core.PulseTemplate]:
    if templates is None:
        return []
    if isinstance(templates, (str, os.PathLike)):
        return _core.read_templates(templates)
    return list(templates)


def flags_of(names: Union[Flag, Iterable[str]]) -> int:
    """Bits of a Flag, or of flags given by name."""
    if isinstance(names, Flag):
        return names.value
    bits = 0
    for name in [names] if isinstance(names, str) else names:
        if name not in Flag.__members__:
            raise _core.Error(f"flag '{name}'", "is not a flag", "the flags are " + ", ".join(Flag.__members__))
        bits |= Flag[name].value
    return bits


def provenance_of(
    function: str,
    files: list[str],
    setup: _core.Setup | None = None,
    *,
    digests: bool = True,
    **options: Any,
) -> _core.Provenance:
    """What made a result: the call as it could be typed, and the inputs with their digests (or without the inputs)."""
    words = [repr(files[0]) if len(files) == 1 else repr(files)] if files else []
    words += [f"{name}={value!r}" for name, value in options.items()]
    return _core.Provenance(
        "firstedge." + function,
        f"firstedge.{function}({', '.join(words)})",
        files if digests else [],
        setup.text if setup else "",
    )
