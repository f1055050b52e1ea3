"""What an analysis found: a dict, with its figures as attributes."""

from __future__ import annotations

import json
import math
from typing import Any, NamedTuple

from . import _core
from ._inputs import Path


def _number(value: float | None) -> float:
    return math.nan if value is None else value


class Figure(NamedTuple):
    """A value with its standard uncertainty (NaN where not known), in the SI unit given; float() is the value."""

    value: float
    uncertainty: float
    degrees_of_freedom: float
    unit: str
    label: str

    def __float__(self) -> float:
        return self.value


class Result(dict):  # type: ignore[type-arg]
    """The outcome of an analysis: a plain dict in the layout "firstedge result 1" (docs/file-layouts.md).

    Keys: kind, title, answer, figures, tables, plots, warnings, cautions, provenance. Each of them, and each figure by
    its key, is an attribute as well: result.answer, result.bare_amplified_spread.value. Numbers are SI; what is not
    known is None in the dict and NaN in a Figure or a frame. str() is the table that the programs print.
    """

    def __init__(self, found: _core.Result, problems: list[str] | None = None) -> None:
        super().__init__(json.loads(found.json()))
        self._found = found
        #: Sentences on what was damaged in the files that were read; the good records around it are in the result.
        self.problems: list[str] = problems or []

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in self:
            return self[name]
        figure = self["figures"].get(name)
        if figure is None:
            raise AttributeError(f"no '{name}' in this result; its figures are {', '.join(self['figures'])}")
        return Figure(
            _number(figure["value"]),
            _number(figure["uncertainty"]),
            math.inf if figure["degrees_of_freedom"] is None else figure["degrees_of_freedom"],
            figure["unit"],
            figure["label"],
        )

    def __dir__(self) -> list[str]:
        return [*super().__dir__(), *self, *self["figures"]]

    def frame(self, table: str) -> Any:
        """A table as a pandas DataFrame. An estimate gives two columns: key, and key_uncertainty.

        Raises Error for a table that is not in the result.
        """
        import pandas

        if table not in self["tables"]:
            raise _core.Error(
                f"table '{table}'", "is not in this result", "the tables are " + ", ".join(self["tables"])
            )
        columns: dict[str, list[Any]] = {}
        for number, column in enumerate(self["tables"][table]["columns"]):
            cells = [row[number] for row in self["tables"][table]["rows"]]
            key = column["key"]
            if any(isinstance(cell, dict) for cell in cells):
                columns[key] = [_number(cell["value"]) if isinstance(cell, dict) else cell for cell in cells]
                columns[key + "_uncertainty"] = [
                    _number(cell["uncertainty"]) if isinstance(cell, dict) else math.nan for cell in cells
                ]
            else:
                columns[key] = [math.nan if cell is None else cell for cell in cells]
        return pandas.DataFrame(columns)

    def page(self, file: Path) -> None:
        """Writes the page for people: one self-contained HTML file that opens offline.

        file: where to; appears when whole. Raises Error where it cannot be written.
        """
        _core.write_whole(file, self._found.page())

    def json(self) -> str:
        """The result for programs, as --json of the programs writes it: SI units, every digit."""
        return self._found.json()

    def __str__(self) -> str:
        return self._found.text()

    def __repr__(self) -> str:
        return f"<firstedge.Result {self['kind']}: {self['answer']}>"
