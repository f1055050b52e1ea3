"""The reasons to distrust a stamp, made from the library's table."""

from __future__ import annotations

import enum

from . import _core

Flag = enum.IntFlag("Flag", {name: bit for name, bit, _ in _core.flag_table}, module=__name__)
Flag.__doc__ = "The reasons to distrust a stamp; the bits of a stamp's field 'flags'.\n\n" + "\n".join(
    f"{name}: {sentence}." for name, _, sentence in _core.flag_table
)


def flag_names(bits: int) -> str:
    """The names of the flags in these bits joined by '+', or '' where nothing speaks against the stamp.

    bits: a stamp's field flags, a number of 32 bits without unit. Raises Error for other numbers. Source: the library's
    own table of flags, Flag.
    """
    if not 0 <= int(bits) < 1 << 32:
        raise _core.Error(f"bits {int(bits)}", "are not those of flags", "give a stamp's field flags")
    return _core.flag_words(int(bits))
