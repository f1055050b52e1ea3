"""Promise: the package is described: stubs, docstrings, a manual and a tutorial that run."""

import ast
import inspect
import pathlib
import re
import shutil

import numpy
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
            names |= {f"{node.name}.{member.target.id}" for member in node.body if isinstance(member, ast.AnnAssign)}
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


def parameters_in_stub(node):
    """(name, whether it has a default) of each parameter, self left out."""
    given = [*node.args.posonlyargs, *node.args.args]
    defaults = [False] * (len(given) - len(node.args.defaults)) + [True] * len(node.args.defaults)
    pairs = [(one.arg, default) for one, default in zip(given, defaults) if one.arg != "self"]
    assert not node.args.kwonlyargs and not node.args.vararg and not node.args.kwarg
    return tuple(pairs)


def signatures_in_stub():
    """The signatures of each function of the stub, overloads as several, properties left out."""
    tree = ast.parse((SOURCE / "bindings/python/firstedge/_core.pyi").read_text())
    found = {}
    for owner in [tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))]:
        prefix = "" if owner is tree else owner.name + "."
        for node in owner.body:
            if isinstance(node, ast.FunctionDef) and "property" not in map(ast.unparse, node.decorator_list):
                found.setdefault(prefix + node.name, set()).add(parameters_in_stub(node))
    return found


def split_outside_brackets(text):
    """The parts between commas that stand in no bracket."""
    parts, depth = [""], 0
    for letter in text:
        depth += (letter in "[({") - (letter in "])}")
        if letter == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += letter
    return [part.strip() for part in parts if part.strip()]


def signatures_in_module(function, name):
    """The same from the first lines that pybind11 puts into docstrings."""
    lines = re.findall(rf"^(?:\d+\. )?{name}\((.*)\) -> ", function.__doc__, re.MULTILINE)
    parts = [split_outside_brackets(line) for line in lines]
    return {tuple((part.split(":")[0], " = " in part) for part in one if not part.startswith("self:")) for one in parts}


def test_the_stub_has_the_signatures_of_the_module():
    # Operators take what Python gives them, and several overloads in C++ may be one to Python.
    special = {"__sub__", "__eq__", "__hash__", "__len__", "__iter__", "__getitem__"}
    for full_name, declared in signatures_in_stub().items():
        owner, _, name = full_name.rpartition(".")
        if name not in special:
            function = getattr(getattr(_core, owner) if owner else _core, name)
            assert signatures_in_module(function, name) == declared, full_name


def public_functions():
    things = {name: getattr(firstedge, name) for name in firstedge.__all__}
    return {name: thing for name, thing in things.items() if callable(thing) and not inspect.isclass(thing)}


def parameters_of(function):
    try:
        return list(inspect.signature(function).parameters)
    except ValueError:  # of the extension module
        return [name for name, _ in max(signatures_in_module(function, function.__name__), key=len)]


# Units as the documents write them; "no unit" where a number has none.
UNIT = re.compile(r"\b(s|V|C|Hz|m|K|ohm|samples|bytes|days|MeV|ns|fs|no unit|without unit)\b")


@pytest.mark.parametrize("name", sorted(public_functions()))
def test_every_function_names_its_parameters_units_errors_and_source(name):
    function = public_functions()[name]
    text = function.__doc__
    for parameter in parameters_of(function):
        assert re.search(rf"\b{parameter}\b", text), f"{parameter} is not told"
    assert UNIT.search(text), "no unit"
    assert "Raises" in text, "no errors"
    assert "Source:" in text, "no source"


def test_every_class_and_its_members_are_documented():
    classes = [getattr(firstedge, name) for name in firstedge.__all__ if inspect.isclass(getattr(firstedge, name))]
    for kind in classes:
        assert kind.__doc__ and len(kind.__doc__) > 40, kind
        for name, member in vars(kind).items():
            if not name.startswith("_") and kind.__module__ != "firstedge.flags" and not isinstance(member, (int, str)):
                assert inspect.getdoc(member), f"{kind.__name__}.{name}"


def test_every_annotation_of_the_package_is_there():
    for function in public_functions().values():
        if inspect.isfunction(function):
            hints = set(function.__annotations__)
            assert hints == {*inspect.signature(function).parameters, "return"}, function.__name__


def blocks_of(document, language="python"):
    return re.findall(rf"^```{language}\n(.*?)^```", document.read_text(), re.DOTALL | re.MULTILINE)


@pytest.fixture
def in_bench_folder(bench, example, tmp_path, monkeypatch):
    """A folder with sample_data, as the documents have it: the bench set and the stations'."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(bench.folder, tmp_path / "sample_data", symlinks=True)
    (tmp_path / "sample_data/stations").symlink_to(SOURCE / "sample_data/stations")
    (tmp_path / "sample_data/bench.plan.json").symlink_to(SOURCE / "sample_data/bench.plan.json")
    for name in ("lines", "clocks", "stations"):
        (tmp_path / name).symlink_to(example(name))
    return tmp_path


def test_the_manual_runs_from_top_to_bottom(in_bench_folder):
    blocks = blocks_of(SOURCE / "docs/python.md")
    assert len(blocks) >= 5
    names = {}
    for block in blocks:
        exec(compile(block, "docs/python.md", "exec"), names)


def tasks():
    """(task, lines promised, code) of each row of the manual's table of tasks."""
    rows = re.findall(r"^\| ([^|`]+) \| (\d+) \| (.+) \|$", (SOURCE / "docs/python.md").read_text(), re.MULTILINE)
    return [(task, int(lines), re.findall(r"`([^`]+)`", code)) for task, lines, code in rows]


def test_each_task_of_the_manual_runs_in_the_lines_it_promises(in_bench_folder, stamps, channels):
    assert len(tasks()) >= 20
    block = next(firstedge.open_records("sample_data/bench.h5").blocks(64))
    for task, promised, lines in tasks():
        assert len(lines) == promised, task
        names = {"firstedge": firstedge, "numpy": numpy, "stamps": stamps, "channels": channels,
                 "volts": block["amplified"].volts(), "run": "sample_data/bench.h5",
                 "setup": "sample_data/bench.setup.json", "result": stamps.summary}
        for line in lines:
            assert "\n" not in line and ";" not in line, task
            exec(compile(line, task, "exec"), names)


def test_every_function_stands_in_the_manual():
    text = (SOURCE / "docs/python.md").read_text()
    missing = [name for name in public_functions() if not re.search(rf"\b{name}\b", text)]
    assert not missing
