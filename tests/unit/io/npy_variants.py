"""Writes .npy files of every kind that Firstedge reads, with NumPy itself, and beside each the counts it must give.

Usage: npy_variants.py FOLDER. For each NAME.npy there is NAME.raw, the samples in C order (records, channels, samples)
in the machine's byte order, as uint32 -> float64 where Firstedge has no such counts; index.txt has one line a file:
name, axes, records, channels, samples.
"""
import sys

import numpy

SHAPES = {"sample": (11,), "record,sample": (10, 7), "record,channel,sample": (9, 2, 5)}
OTHER_AXES = {"channel,sample": (3, 6), "sample,record": (7, 10), "channel,record,sample": (2, 9, 5),
              "sample,channel,record": (5, 2, 9)}


def in_reading_order(array, axes):
    """The array with axes (record, channel, sample), missing ones of size 1."""
    names = axes.split(",")
    for name in ("record", "channel", "sample"):
        if name not in names:
            array = array[None]
            names = [name] + names
    return array.transpose([names.index(name) for name in ("record", "channel", "sample")])


def write(folder, index, number, array, axes, version):
    name = f"variant_{number}"
    with open(f"{folder}/{name}.npy", "wb") as file:
        numpy.lib.format.write_array(file, array, version=version)
    expected = in_reading_order(array, axes)
    kind = "f8" if array.dtype.kind == "u" and array.dtype.itemsize == 4 else array.dtype.newbyteorder("=")
    with open(f"{folder}/{name}.raw", "wb") as file:
        file.write(numpy.ascontiguousarray(expected.astype(kind)).tobytes())
    print(name, axes, *expected.shape, file=index)


def main():
    folder = sys.argv[1]
    random = numpy.random.default_rng(20260211)
    number = 0
    with open(f"{folder}/index.txt", "w") as index:
        for kind in ("i1", "i2", "i4", "u1", "u2", "u4", "f4", "f8"):
            for byte_order in ("<", ">"):
                for axes, shape in {**SHAPES, **OTHER_AXES}.items():
                    if kind.startswith("f"):
                        array = random.normal(0, 1, shape).astype(kind)
                        array.flat[3] = numpy.nan
                    else:
                        limits = numpy.iinfo(kind)
                        array = random.integers(limits.min, limits.max, shape, dtype=kind, endpoint=True)
                    array = array.astype(byte_order + kind)
                    for order in ("C", "F"):
                        version = ((1, 0), (2, 0), (3, 0))[number % 3]
                        write(folder, index, number, numpy.asarray(array, order=order), axes, version)
                        number += 1


main()
