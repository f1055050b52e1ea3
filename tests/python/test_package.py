"""Promise: the package is described: stubs, docstrings, a manual and a tutorial that run."""

import ast
import inspect
import pathlib
import re
import runpy

import pytest

import firstedge
from firstedge import _core

SOURCE = pathlib.Path(__file__).resolve().parents[2]


def names_of_stub():
    """The names that the stub of the extension module declares, members as Class.member."""
    tree = ast.parse((SOURCE / "bindings/python/firstedge/_core.pyi").read_text())
    names = set()
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            names |= {node.name} | {
                f"{node.name}.{member.name}" for member in node.body if isinstance(member, ast.FunctionDef)
            }
        elif isinstance(node, ast.FunctionDef):
            names.add(node.name)
        elif isinstance(node, ast.AnnAssign):
            names.add(node.target.id)
    return names


def members_of(kind):
    dunder = {"__init__", "__len__", "__getitem__", "__call__", "__sub__", "__hash__", "__eq__"}
    return {name for name in vars(kind) if not name.startswith("_") or name in dunder}


def test_the_stub_declares_what_the_module_has_and_nothing_else():
    there = {"__version__"}
    for name, value in vars(_core).items():
        if name.startswith("_") or value is firstedge.Error:
            continue
        there.add(name)
        if inspect.isclass(value):
            there |= {f"{name}.{member}" for member in members_of(value)}
    declared = {name for name in names_of_stub() if not name.endswith((".__iter__",))}
    # pybind11 gives every class without an initializer one that refuses.
    refused = {name for name in there if name.endswith(".__init__") and name not in declared}
    assert declared == there - refused


def test_everything_public_is_documented():
    assert firstedge.__doc__
    for name in firstedge.__all__:
        thing = getattr(firstedge, name)
        if callable(thing):
            assert thing.__doc__ and len(thing.__doc__) > 40, name


def blocks_of(document):
    return re.findall(r"^```python\n(.*?)^```", document.read_text(), re.DOTALL | re.MULTILINE)


def test_the_manual_runs_from_top_to_bottom(bench, tmp_path, monkeypatch):
    blocks = blocks_of(SOURCE / "docs/python.md")
    assert len(blocks) >= 5
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_data").symlink_to(bench.folder)
    names = {}
    for block in blocks:
        exec(compile(block, "docs/python.md", "exec"), names)


def test_the_tutorial_runs(bench, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["tutorial.py", str(bench.folder)])
    runpy.run_path(str(SOURCE / "bindings/python/tutorial.py"), run_name="__main__")
    said = capsys.readouterr().out
    assert "ps" in said
    assert (tmp_path / "jitter.html").exists()


@pytest.mark.parametrize("function", ["stamp", "jitter", "learn", "constant_fraction", "open_records"])
def test_functions_show_their_arguments(function):
    assert inspect.signature(getattr(firstedge, function)).parameters
