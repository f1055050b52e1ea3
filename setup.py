"""Builds the Python package by CMake, so that pip and a plain build make one and the same module."""

import os
import pathlib
import re
import shlex
import shutil
import subprocess
import sys

from setuptools import Distribution, Extension, setup
from setuptools.command.build_ext import build_ext

SOURCE = pathlib.Path(__file__).resolve().parent


def version() -> str:
    """That of the project, which stands in CMakeLists.txt."""
    return re.search(r"VERSION (\d+\.\d+\.\d+)", (SOURCE / "CMakeLists.txt").read_text()).group(1)


class BuildByCMake(build_ext):
    """Puts the whole package, module and Python files, where setuptools collects it.

    The environment variable CMAKE_ARGS may hold further words for CMake. FIRSTEDGE_BUILD_TREE names a build tree that
    has the module already: nothing is built then.
    """

    def run(self) -> None:
        target = pathlib.Path(self.build_lib).resolve()
        if self.inplace:
            raise SystemExit(
                "an editable install has no use: build with CMake and put build/release/python on PYTHONPATH"
            )
        ready = os.environ.get("FIRSTEDGE_BUILD_TREE")
        if ready:
            shutil.copytree(pathlib.Path(ready) / "python/firstedge", target / "firstedge", dirs_exist_ok=True,
                            ignore=shutil.ignore_patterns("__pycache__"))
        else:
            self.build_anew(pathlib.Path(self.build_temp).resolve(), target)

    def build_anew(self, build: pathlib.Path, target: pathlib.Path) -> None:
        options = ["BUILD_APPS=OFF", "BUILD_TESTS=OFF", "BUILD_PYTHON=ON", "PYTHON_DIR=."]
        of_firstedge = [word for option in options for word in ("-D", "FIRSTEDGE_" + option)]
        of_python = ["-D", f"Python_EXECUTABLE={sys.executable}", "-D", "CMAKE_REQUIRE_FIND_PACKAGE_pybind11=ON"]
        of_caller = shlex.split(os.environ.get("CMAKE_ARGS", ""))
        run(
            "a package or a tool that Firstedge is built on is missing (it is named above): scripts/install-packages "
            "installs them all",
            "cmake", "-S", SOURCE, "-B", build, "-G", "Ninja", "-D", "CMAKE_BUILD_TYPE=Release", *of_firstedge,
            *of_python, *of_caller
        )
        # Ninja takes all processors; CMAKE_BUILD_PARALLEL_LEVEL says how many instead.
        fault = "Firstedge could not be compiled (the compiler says above why)"
        run(fault, "cmake", "--build", build, "--target", "firstedge_python")
        run(fault, "cmake", "--install", build, "--component", "python", "--prefix", target)


def run(fault: str, *command: "str | pathlib.Path") -> None:
    """Runs a command; where it fails, or is not there, the sentence `fault` is the last that is said."""
    try:
        subprocess.run(command, check=True)
    except FileNotFoundError as missing:
        print(f"{missing.filename}: not found", file=sys.stderr)
        raise SystemExit(f"firstedge: {fault}") from None
    except subprocess.CalledProcessError:
        raise SystemExit(f"firstedge: {fault}") from None


class WithModule(Distribution):
    """Not the same for every machine, though setuptools sees no extension of its own."""

    def has_ext_modules(self) -> bool:
        return True


setup(
    version=version(),
    packages=[],
    ext_modules=[Extension("firstedge._core", [])],
    cmdclass={"build_ext": BuildByCMake},
    distclass=WithModule,
)
