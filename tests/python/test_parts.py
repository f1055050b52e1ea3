"""Promise: runs in parts, put together, and stopped runs go on, as with the program and with its bytes."""

import logging
import re

import pytest
from conftest import RECORDS, without_provenance

import firstedge


@pytest.fixture(scope="module")
def parts_of_app(tmp_path_factory, run_app, bench):
    """The three parts of the bench set, by the program."""
    folder = tmp_path_factory.mktemp("parts")
    tables = [folder / f"part-{k}.h5" for k in (1, 2, 3)]
    for k, table in enumerate(tables, 1):
        run_app("stamp", bench.records, "--setup", bench.setup, "--part", f"{k}/3", "-o", table, "--quiet")
    return tables


@pytest.fixture(scope="module")
def whole(tmp_path_factory, bench):
    """The bytes of the table of the whole run, by the package."""
    table = tmp_path_factory.mktemp("whole") / "stamps.h5"
    firstedge.stamp(bench.records, bench.setup, table)
    return table.read_bytes()


def test_parts_are_those_of_the_program_and_merge_into_the_whole(bench, parts_of_app, whole, stamps, tmp_path):
    for k, of_app in enumerate(parts_of_app, 1):
        part = firstedge.stamp(bench.records, bench.setup, tmp_path / f"part-{k}.h5", part=(k, 3))
        assert part.array.tobytes() == firstedge.read_stamps(of_app).array.tobytes()
        assert part.summary.figures["records"]["value"] == RECORDS / 3
    merged = firstedge.merge(str(tmp_path / "part-*.h5"), tmp_path / "merged.h5")
    assert (tmp_path / "merged.h5").read_bytes() == whole
    assert merged.array.tobytes() == stamps.array.tobytes()
    assert firstedge.stamp(bench.records, bench.setup, part=(2, 3)).array.tobytes() in stamps.array.tobytes()


def test_merging_is_that_of_the_program(parts_of_app, json_of_app, tmp_path):
    table = tmp_path / "stamps.h5"
    expected = json_of_app("stamp", "--merge", *parts_of_app, "-o", table)
    of_app = table.read_bytes()
    table.unlink()
    merged = firstedge.merge(reversed(parts_of_app), table)
    assert table.read_bytes() == of_app
    assert without_provenance(merged.summary) == expected
    assert merged.summary.provenance["setup"] == merged.setup
    assert firstedge.merge(parts_of_app).array.tobytes() == merged.array.tobytes()


def test_parts_that_do_not_make_a_run_are_refused(bench, app_table, parts_of_app):
    for part in ((0, 3), (4, 3), (-1, 3), (1, 0), (1, 10**9)):
        with pytest.raises(firstedge.Error, match="is not a part"):
            firstedge.stamp(bench.records, bench.setup, part=part)
    for parts, fault in ((parts_of_app[:2], "is missing"), ([*parts_of_app, parts_of_app[0]], "as is"),
                         ([app_table], "is not the table of a part"), ([], "are missing")):
        with pytest.raises(firstedge.Error, match=fault):
            firstedge.merge(parts)


@pytest.mark.parametrize("fault", [ZeroDivisionError, KeyboardInterrupt])
def test_a_run_that_was_stopped_goes_on(bench, whole, fault, tmp_path, caplog):
    table, journal = tmp_path / "stamps.h5", tmp_path / "stamps.h5.journal"

    def stop(_records, _share):
        raise fault

    with pytest.raises(fault):
        firstedge.stamp(bench.records, bench.setup, table, progress=stop)
    assert journal.exists() and not table.exists()
    seen = []
    with caplog.at_level(logging.WARNING, "firstedge"):
        firstedge.stamp(bench.records, bench.setup, table, progress=lambda records, _: seen.append(records))
    [kept] = re.findall(r"([1-9]\d*) records are finished; the run goes on behind them", caplog.text)
    assert int(kept) < seen[0] and seen[-1] == RECORDS
    assert table.read_bytes() == whole and not journal.exists()


def test_a_journal_of_another_setup_is_told_and_left(bench, whole, tmp_path, caplog):
    table = tmp_path / "stamps.h5"
    with pytest.raises(ZeroDivisionError):
        firstedge.stamp(bench.records, {"title": "another"}, table, progress=lambda *_: 1 / 0)
    with caplog.at_level(logging.WARNING, "firstedge"):
        firstedge.stamp(bench.records, bench.setup, table)
    assert "the run begins anew" in caplog.text
    assert table.read_bytes() == whole
