"""Promise: instants pass between ISO texts, NumPy and the time scales without losing a femtosecond."""

import numpy
import pytest

import firstedge
from firstedge import Instant


def test_iso_texts_go_both_ways():
    text = "2026-11-25T06:37:00.123456789012345Z"
    instant = Instant.parse(text)
    assert str(instant) == text
    assert (instant.seconds, instant.femtoseconds, instant.scale) == (1795588620, 123456789012345, "UTC")


@pytest.mark.parametrize(
    "time",
    ["2026-11-25T06:37:00.123456789", "1969-12-31T23:59:59.000000001", "1677-12-31T00:00:00", "2200-01-01T12:00:00"],
)
def test_datetime64_goes_both_ways(time):
    moment = numpy.datetime64(time, "ns")
    assert Instant.from_datetime64(moment).datetime64() == moment


def test_datetime64_of_any_unit_is_taken():
    assert Instant.from_datetime64(numpy.datetime64("2026-11-25")) == Instant.parse("2026-11-25T00:00:00Z")
    assert Instant.from_datetime64(numpy.datetime64("1970-01-01T00:00:01.000000000000001", "fs")) == Instant(1, 1)
    assert Instant.from_datetime64(numpy.datetime64(-1, "fs")) == Instant(-1, 999_999_999_999_999)


def test_datetime64_is_rounded_to_a_nanosecond():
    assert Instant(0, 499_999).datetime64() == numpy.datetime64(0, "ns")
    assert Instant(0, 999_999_999_500_000).datetime64() == numpy.datetime64(1_000_000_000, "ns")


def test_a_leap_second_is_on_tai_and_not_in_datetime64():
    leap = Instant.parse("2016-12-31T23:59:60.5Z")
    # TAI - UTC was 36 s until the end of 2016 (IERS Bulletin C 52).
    assert str(leap.on_scale("TAI")) == "2017-01-01T00:00:36.500000000000000 TAI"
    assert leap.on_scale("TAI").on_scale("UTC") == leap
    with pytest.raises(firstedge.Error, match="is in a leap second"):
        leap.datetime64()
    triggers = numpy.array(
        [(0, leap.seconds, leap.femtoseconds, b"UTC")],
        [("record", "u8"), ("seconds", "i8"), ("femtoseconds", "i8"), ("scale", "S8")],
    )
    with pytest.raises(firstedge.Error, match="instant 0: is in a leap second.*convert it to TAI first"):
        firstedge.datetime64(triggers)
    assert numpy.isnat(firstedge.datetime64(triggers, leap="NaT"))[0]
    with pytest.raises(firstedge.Error, match="neither"):
        firstedge.datetime64(triggers, leap="skip")
    triggers["seconds"], triggers["femtoseconds"] = 10**12, 0
    with pytest.raises(firstedge.Error, match="1678 and 2262"):
        firstedge.datetime64(triggers)


def test_differences_are_in_seconds_on_one_scale():
    a = Instant.parse("2026-11-25T06:37:00Z")
    assert a.advanced(1.5e-9) - a == 1.5e-9
    with pytest.raises(firstedge.Error, match="on two scales"):
        a - a.on_scale("GPS")


def test_wrong_times_are_told():
    for text in ("yesterday", "2026-02-30T00:00:00Z", "2026-11-25T06:37:00.1234567890123456Z"):
        with pytest.raises(firstedge.Error):
            Instant.parse(text)
    for time in (numpy.datetime64("NaT"), "2026-11-25", None):
        with pytest.raises(firstedge.Error, match="datetime64"):
            Instant.from_datetime64(time)
    with pytest.raises(firstedge.Error, match="1678 to 2262|1678 and 2262"):
        Instant(10**12).datetime64()


def test_triggers_of_a_run_are_datetime64(stamps, bench):
    times = firstedge.datetime64(stamps.triggers)
    records = next(firstedge.open_records(bench.records).blocks(20))
    assert [record.trigger.datetime64() for record in records] == list(times[:20])
    assert set(stamps.triggers["scale"]) == {b"UTC"}
