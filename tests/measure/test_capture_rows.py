"""Rows of numbers made a capture: time base, channels, steps of voltage. Expected values are written by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.errors import InputError
from guardcheck.measure.capture import reader
from guardcheck.measure.capture.dialect import Column, Dialect
from tests.measure.drawn import Array


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


TIME, CH1 = Column("t", "time", 1e-6, "us"), Column("CH1", "volts", 1e-3, "mV")


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b" \n", "the file is empty"),
        (b"\xff\xfea", "UTF-16"),
        (b"\xfe\xffa", "UTF-16"),
        (b"T\x00i\x00", "UTF-16"),
        (b"abc\x00", "not a text file"),
        (b"a\rb", "lone carriage return"),
    ],
)
def test_what_is_no_text(head: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        reader._head_lines(head, "f")


@pytest.mark.parametrize(
    ("head", "lines"),
    [
        (b"abc", ["abc"]),
        (b"a\r\nb\r\n", ["a", "b", ""]),
        (b"\xef\xbb\xbfa\n", ["a", ""]),
        (b"a\nb\nc\nd", ["a", "b", "c", "d"]),
        (b"a\nb\nc\nd\ne", ["a", "b", "c", "d"]),  # the last may be cut
        (b"a\nb\nc\nd\ne\n", ["a", "b", "c", "d", "e", ""]),
    ],
)
def test_lines_of_the_head(head: bytes, lines: list[str]) -> None:
    assert reader._head_lines(head, "f") == lines


def test_a_table_begins_in_the_first_128_kib(tmp_path: Path) -> None:
    path = tmp_path / "scope.csv"
    body = "".join(f"{i}e-6,0.5\n" for i in range(20))
    path.write_text("x" * 130_000 + "\n" + body)
    assert reader.read_capture(path).n_points == 20
    path.write_text("x" * 140_000 + "\n" + body)
    with pytest.raises(InputError, match="no table of numbers"):
        reader.read_capture(path)


def collected(
    *blocks: Array, columns: tuple[Column, ...] = (TIME, CH1), interval: float | None = None, channel: str | None = None
) -> reader._Collector:
    """Return what is gathered from blocks of rows; the first stands at line 4."""
    dialect = Dialect(",", ".", columns, 3, interval)
    collector = reader._Collector(dialect, "f", channel)
    line = 4
    for block in blocks:
        collector.add(block, line)
        line += len(block)
    return collector


def rows(times: Array, volts: float = 500.0) -> Array:
    return np.column_stack((times, np.full(len(times), volts)))


def test_a_capture_of_two_blocks() -> None:
    t = np.arange(40.0) * 0.5 + 7
    found = collected(rows(t[:10]), np.empty((0, 2)), rows(t[10:], 250.0)).capture()
    assert (found.start, found.time_step) == pytest.approx((7e-6, 0.5e-6))
    assert_allclose(found.volts["CH1"], [0.5] * 10 + [0.25] * 30)
    assert found.notes == ()
    assert found.resolution["CH1"] == pytest.approx(0.25)


def test_a_capture_has_sixteen_points_at_least_and_not_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    assert collected(rows(np.arange(16.0))).capture().n_points == 16
    with pytest.raises(InputError, match="only 15 points; at least 16"):
        collected(rows(np.arange(15.0))).capture()
    assert reader.MAX_POINTS == 20_000_000
    monkeypatch.setattr(reader, "MAX_POINTS", 20)
    assert collected(rows(np.arange(10.0)), rows(np.arange(10.0, 20.0))).points == 20
    with pytest.raises(InputError, match="more than 20 points"):
        collected(rows(np.arange(10.0)), rows(np.arange(10.0, 21.0)))


def test_times_and_voltages_that_cannot_be() -> None:
    t = np.arange(10.0)
    collected(rows(t), rows(t + 9))  # the same time twice is printed coarsely, not backwards
    with pytest.raises(InputError, match="f:14: time runs backwards"):
        collected(rows(t), rows(t + 8.9))
    with pytest.raises(InputError, match="f:7: time runs backwards"):
        collected(rows(array(0, 1, 2, 1.9, 5, 4)))
    collected(rows(t, 1e8), rows(t + 10, -1e8))
    wild = rows(t + 10)
    wild[3:, 1] = -1.001e8
    wild[4:, 1] = 2e8
    with pytest.raises(InputError, match=r"f:17: -1\.001e\+08 is no voltage"):
        collected(rows(t), wild)


def test_a_stated_interval_may_differ_by_a_hundredth() -> None:
    t = np.arange(40.0) * 0.5
    for stated, right in ((0.5045e-6, True), (0.4955e-6, True), (0.5055e-6, False), (0.4945e-6, False)):
        gathered = collected(rows(t), interval=stated)
        if right:
            assert gathered.capture().time_step == pytest.approx(0.5e-6)
        else:
            with pytest.raises(InputError, match=rf"advances by 0.5 us, and .* stands {stated * 1e6:.4g} us"):
                gathered.capture()


def test_an_interval_that_differs_by_just_what_it_may_is_right(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter, so that nothing is rounded."""
    monkeypatch.setattr(reader, "STATED_OFF", 0.25)
    columns = (Column("t", "time", 1.0, "s"), CH1)
    assert collected(rows(np.arange(40.0) * 0.5), columns=columns, interval=0.625).capture().time_step == 0.5


@pytest.mark.parametrize(("by", "even"), [(1.0639, True), (1.08, False), (2.0, False)])
def test_a_sample_may_stand_one_step_from_its_place(by: float, even: bool) -> None:
    """A gap of `by` steps more at the 190th of 200: point 189 is 189 by / 199 from its place, a step 1 + by / 199."""
    t = np.arange(200.0)
    t[190:] += by
    gathered = collected(rows(t[:100] * 0.5), rows(t[100:] * 0.5))
    if even:
        assert gathered.capture().time_step == pytest.approx(0.5e-6 * (1 + by / 199))
        return
    away = 189 * by / (199 + by)
    with pytest.raises(InputError, match=rf"f:193: .*row 190 of the table is {away:.3g} steps from its place"):
        gathered.capture()


@pytest.mark.parametrize(
    ("repeats", "told"),
    [
        ((0, 0), True),  # pairs: printed in steps of two samples
        ((0, 1, 2, 2), False),  # one in four stands still: the steps are 4/3 of a sample
        ((0, 1, 2), False),
    ],
)
def test_times_printed_in_steps_beyond_a_sample_and_a_half_are_told(repeats: tuple[int, ...], told: bool) -> None:
    block = max(repeats) + 1
    times = np.concatenate([array(*repeats) + block * i for i in range(20)])
    found = collected(rows(times)).capture()
    assert found.time_step == pytest.approx(times[-1] / (len(times) - 1) * 1e-6)
    assert [note for note in found.notes if "too coarsely" in note] == list(found.notes)
    assert len(found.notes) == told


def test_a_row_of_a_file_is_named_by_its_line(tmp_path: Path) -> None:
    path = tmp_path / "scope.csv"
    path.write_text("model,x\ntime (s),CH1 (V)\n" + "".join(f"{i},0.5\n" for i in range(4)) + "4,oops\n")
    with pytest.raises(InputError, match=r"scope.csv:7: 'oops' is not a number"):
        reader.read_capture(path)


def test_times_that_do_not_advance() -> None:
    with pytest.raises(InputError, match="does not advance"):
        collected(rows(np.full(20, 3.0))).capture()


def test_an_interval_stands_in_for_a_time_column() -> None:
    found = collected(np.ones((20, 1)), columns=(CH1,), interval=2e-7).capture()
    assert (found.start, found.time_step) == (0.0, 2e-7)
    with pytest.raises(InputError, match="no time column and no sample interval"):
        collected(np.arange(20.0)[:, None], columns=(Column("", "volts", 1.0),))


def test_names_of_columns_without_any() -> None:
    none = Column("", "volts", 1.0)
    t = np.arange(20.0)
    found = collected(np.column_stack((t, t, t)), columns=(none, none, none)).capture()
    assert list(found.volts) == ["column 2", "column 3"]
    assert found.time_step == 1.0
    assert found.notes == (
        "the first column rises evenly and is taken as time in seconds",
        "no unit stands beside 'column 2': volts are presumed",
        "no unit stands beside 'column 3': volts are presumed",
    )
    found = collected(np.column_stack((t, t, t, t)), columns=(TIME, CH1, CH1, CH1)).capture()
    assert list(found.volts) == ["CH1", "CH1'", "CH1''"]
    assert collected(np.column_stack((10 * t, t)), columns=(none, TIME)).time_column == 1
    assert collected(np.column_stack((t, -t)), columns=(none, CH1)).time_column == 0
    with pytest.raises(InputError, match="no time column"):
        collected(np.column_stack((-t, t)), columns=(none, CH1))
    with pytest.raises(InputError, match="no time column"):
        collected(np.column_stack((t, -t)), columns=(CH1, none))
    count = Column("n", "count", 1.0)
    assert collected(np.column_stack((t, t)), columns=(count, CH1), interval=1e-6).capture().notes == ()


def test_the_channel_asked_for() -> None:
    t = np.arange(20.0)
    columns = (TIME, CH1, Column("n", "count", 1.0), Column("ref", "other", 1.0, "A"))
    block = np.column_stack((t, t, t, t))
    assert list(collected(block, columns=columns, channel="ch1").capture().volts) == ["CH1"]
    for channel, words in (("n", "'n' holds count, volts"), ("REF", "'ref' holds A, volts"), ("x", "no channel 'x'")):
        with pytest.raises(InputError, match=words):
            collected(block, columns=columns, channel=channel)
    with pytest.raises(InputError, match=r"found 'time' in \?, 'ref' in A"):
        collected(block[:, :2], columns=(Column("", "volts", 1.0), columns[3]))
    with pytest.raises(InputError, match=r"found 't' in us, 'n' in \?, 'ref' in A"):
        collected(block[:, :3], columns=(columns[0], columns[2], columns[3]))


@pytest.mark.parametrize(
    ("values", "like"),
    [
        ((0, 1, 2), True),
        ((0, 1), True),
        ((0, 0, 1), True),
        ((0, 100, 200), True),
        ((0, 1, 3, 2), False),
        ((3, 2, 1), False),
        ((1, 1, 1), False),
        ((5,), False),
        ((), False),
        ((*range(40), 39 + 38), True),  # 39 steps of 1 and one of 38, below 20 times their mean of 1.925
        ((*range(40), 39 + 39), False),  # 39 is 20 times 1.95
        ((*range(40), 39 + 40), False),
    ],
)
def test_a_column_that_rises_evenly_looks_like_time(values: tuple[float, ...], like: bool) -> None:
    assert reader._looks_like_time(np.array(values, dtype=np.float64)) == like


def test_the_step_times_are_printed_in() -> None:
    for times, step, expected in (
        ((0, 0, 0, 3, 3, 3, 6), 1.0, 3.03),
        ((0, 0, 1, 2, 3, 4), 0.8, 0.0),  # one in five is the same
        ((0, 0, 1, 2, 3), 0.75, 1.01),  # one in four
        ((0, 0.0012, 1, 2), 1.0, 0.0),
        ((0, 0.001, 1, 2), 1.0, 1.01),  # just a thousandth of it
        ((0, 0.0015, 2, 4), 2.0, 2.02),  # a thousandth of a step is the same
        ((0, 1, 2), 1.0, 0.0),
        ((0,), 1.0, 0.0),
    ):
        one = np.array(times, dtype=np.float64)
        assert reader._print_step([one], step) == pytest.approx(expected)
    parts = [array(0, 0, 1), array(5, 6), array(9, 9, 13)]
    assert reader._print_step(parts, 1.0) == pytest.approx(4.04)


@pytest.mark.parametrize(
    ("levels", "each", "step"),
    [
        (np.arange(10) * 0.01, 4, 0.01),
        (np.arange(11) * 0.01, 3.9, 0.0),  # fewer than four samples a level
        (array(0.5), 40, 0.0),
        (array(0.5, 0.75), 4, 0.25),
        (np.arange(2048) / 1024, 4, 1 / 1024),
        (np.arange(2049) / 1024, 4, 0.0),
        (np.cumsum(array(0, 0.010, 0.012, 0.014, 0.016)), 4, 0.012),  # up to one and a half of the smallest
        (array(0, 1, 2.5), 4, 1.0),  # one and a half of it is no step of this trace any more
        (array(0, 1, 3), 4, 1.0),
        (array(0, 1, 1.001, 12), 4, 1.0),  # 1 mV of 12 V is, and 1.2 mV of 4 V is not
        (array(0, 1, 1.0012, 4), 4, 0.0012),
        (array(-10, 0, 0.001, 1), 4, 0.999),  # 1 mV of 11 V over four levels is rounding
        (array(-2, -1, -0.9998, 2), 4, 0.9999),  # 0.2 mV of 4 V over four levels is rounding; the median of 1 and 3
    ],
)
def test_the_step_of_a_quantised_trace(levels: Array, each: float, step: float) -> None:
    sample = np.resize(levels, round(len(levels) * each)).astype(np.float32)
    assert reader.voltage_step(sample) == pytest.approx(step, rel=1e-3)


def test_the_first_quarter_million_of_samples_tells_the_step() -> None:
    sample = np.concatenate((np.tile([0.0, 1.0], 1 << 17), np.full(1 << 12, 0.5))).astype(np.float32)
    assert reader.voltage_step(sample) == 1.0
