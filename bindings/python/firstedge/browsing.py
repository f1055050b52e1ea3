"""The traces behind the times: pulses that a person should see, on a page with a window onto them."""

from __future__ import annotations

from . import _core
from ._calls import StampsLike, table_and_files
from ._inputs import Files, Path, SetupLike, Templates, files_of, provenance_of, setup_of, templates_of
from .results import Result


class Browser(Result):
    """A Result whose page leads from bins, points and flags to the recorded pulses; made by browse.

    traces: list of BrowsedTrace. groups: of each kind of pulse, by its label, the positions in traces.
    """

    def __init__(self, browsed: _core.Browsed) -> None:
        super().__init__(browsed.result, browsed.problems)
        self._browsed = browsed
        self.traces: list[_core.BrowsedTrace] = browsed.traces
        self.groups: dict[str, list[int]] = browsed.groups

    def page(self, file: Path) -> None:
        """Writes the page with the window onto the traces, one self-contained HTML file; opens offline.

        file: where to; appears when whole. Raises Error where it cannot be written.
        """
        _core.write_whole(file, self._browsed.page())


def browse(
    files: Files,
    stamps: StampsLike,
    *,
    setup: SetupLike = None,
    templates: Templates = None,
    method: str = "",
    pair: tuple[str, str] = ("", ""),
    of_each_flag: int = 12,
    of_each_bin: int = 2,
    of_each_extreme: int = 4,
    most_traces: int = 600,
) -> Browser:
    """Chooses pulses of a run by their stamps and takes their traces (V against s) from the files (firstedge-traces).

    files: the run. stamps: its table, or the table's file. setup: to read the run with; None: the one that the stamps
    were made with. templates: those in use, if they were given and not learnt. method: that lists go by; '': the first
    that fits a template. pair: two channels; none: the first two. of_each_flag, of_each_bin, of_each_extreme: how many
    pulses are chosen. most_traces: on the page, 1 to 2000. Raises Error for a table without pulses and files that hold
    none of its records. Source: chosen by lot, the same on every call.
    """
    names = files_of(files)
    survey = _core.SurveyOptions()
    survey.method, (survey.first, survey.second) = method, pair
    survey.of_each_flag, survey.of_each_bin, survey.of_each_extreme = of_each_flag, of_each_bin, of_each_extreme
    chosen = None if setup is None else setup_of(setup)
    table, table_files = table_and_files(stamps)
    made_by = provenance_of("browse", table_files + names, pair=pair, method=method)
    return Browser(_core.browse(names, chosen, table, made_by, survey, most_traces, templates_of(templates)))
