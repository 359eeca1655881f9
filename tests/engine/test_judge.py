"""What ngspice says, and what of it means that a result cannot be trusted."""

from __future__ import annotations

import pytest

from guardcheck.engine.session import clean, complaints, help_words

FINE_WHILE_RUNNING = [
    "stdout Doing analysis at TEMP = 27.000000 and TNOM = 27.000000",
    "stdout No. of Data Rows : 301",
    " Reference value :  1.00000e+03\r",
    "stderr Note: v1: has no value, DC 0 assumed",
    "stderr Warning: v1: no DC value, transient time 0 value used",
    "stderr Using SPARSE 1.3 as Direct Linear Solver",  # versions 42 and 43, on every run
    "stderr Note: Starting dynamic gmin stepping",
    "stderr Trying gmin =   1.0000E-03 Note: One successful gmin step",
    "stderr Warning: Dynamic gmin stepping failed",
    "stderr Note: Starting source stepping",
    "stderr Supplies reduced to   0.0000%",
    "stderr Note: Source stepping completed",
    "stderr ",
]
FATAL = [
    "stderr Warning: singular matrix:  check node out",
    "stderr Trying gmin =   1.0000E-03 Warning: singular matrix:  check node out",
    "stderr doAnalyses: TRAN:  Timestep too small; time = 5e-07, timestep = 1.25e-19",
    "stderr run simulation(s) aborted",
    "stderr Note: Transient op finished successfully",
    "stderr Error: no such vector",
    "stderr anything it never said before",
    "stdout Error: something on the wrong channel",
    "stdout realloc: Internal Error: can't allocate 212992 bytes",
]


def test_harmless_lines_pass_a_run() -> None:
    assert complaints(FINE_WHILE_RUNNING, loading=False) == ()


@pytest.mark.parametrize("line", FATAL)
@pytest.mark.parametrize("loading", [True, False])
def test_fatal_lines_never_pass(line: str, loading: bool) -> None:
    assert complaints([*FINE_WHILE_RUNNING[:2], line], loading=loading) == (line.partition(" ")[2],)


@pytest.mark.parametrize(
    "line", ["stderr Warning: Model issue on line 4", "stderr Warning: r1: resistance to low, set to 1 mOhm"]
)
def test_a_warning_while_loading_changes_the_circuit(line: str) -> None:
    assert complaints([line], loading=True)


def test_help_is_named_in_its_order() -> None:
    assert help_words(FINE_WHILE_RUNNING) == ("gmin stepping", "source stepping")
    assert help_words(FINE_WHILE_RUNNING[:6]) == ()


def test_words_are_cleaned() -> None:
    dirty = [
        "stdout Circuit: guardcheck 7",
        "stderr Trying gmin =   1.0000E-03 Warning: singular\tmatrix:  check node out",
        "Trying gmin =   2.0000E-03 Warning: singular matrix:  check node out",
        "Error: ngspice.dll cannot recover and awaits to be detached",
        "bell \x07 and \u2028 line\r\n",
    ]
    assert clean(dirty) == "Warning: singular matrix: check node out; bell and line"
    assert len(clean([f"line {k}" for k in range(100)])) == 300
