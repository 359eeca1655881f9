"""One statement of a meter, one meaning: what a data sheet prints is taken, and counts, wherever a meter is read."""

from __future__ import annotations

import math

import pytest

from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.metrology import width_of

PLACES = {
    "supply.touch_reading": ("A", "[supply]\ntouch_reading = {{ {} }}\n"),
    "display.touch_reading": ("A", "[display]\ntouch_reading = {{ {} }}\n"),
    "supply.service_reading": ("V", "[supply]\nservice_reading = {{ {} }}\n"),
    "supply.insulation_reading": ("ohm", "[supply]\ninsulation_reading = {{ {} }}\n"),
    "bond": ("ohm", '[[bond]]\nfrom = "a"\nto = "b"\npurpose = "shield"\nreading = {{ {} }}\n'),
    "barrier": ("ohm", '[[barrier]]\nwhere = "a"\nmaterial = "film"\nreadings = [ {{ face = "inner", {} }} ]\n'),
    "capacitor": ("V", '[[capacitor]]\nwhere = "C1"\ncapacitance = "1 uF"\nvoltage = "9 V"\nreading = {{ {} }}\n'),
}
"""Every place of a job file where a meter's reading stands, with the unit of what is read."""


def entries(place: str, accuracy: str) -> dict[str, object]:
    """Return the entries of a reading of 2 on a meter of 10 full scale with counts of 0.01, in the place's unit.

    The scale is milliampere, volt, megohm, or ohm for a bond: what each of these meters has.
    """
    unit, form = PLACES[place]
    scale = "ohm" if place == "bond" else {"A": "mA", "V": "V", "ohm": "Mohm"}[unit]
    body = (
        f'value = "2 {scale}", accuracy = "{accuracy.format(scale)}", resolution = "0.01 {scale}", '
        f'meter_range = "10 {scale}"'
    )
    job = parse_job('format = 1\n[unit]\nlabel = "X"\n' + form.format(body))
    if place in ("bond", "capacitor"):
        return dict(job.facts[0].entries["reading"])
    if place == "barrier":
        return dict(job.facts[0].entries["readings"][0])
    return dict((job.supply if place.startswith("supply") else job.display_facts)[place.partition(".")[2]])


# The half-width worked out by hand, in parts of the scale: the terms of one statement are one bound and add
@pytest.mark.parametrize(
    ("accuracy", "half"),
    [
        ("1.0% + 2 counts", 0.02 + 0.02),
        ("2% of full scale + 0.005 {}", 0.2 + 0.005),
        ("± 3% of reading + 0.5% of range", 0.06 + 0.05),
        ("(1 % rdg + 3 dgt)", 0.02 + 0.03),
    ],
)
@pytest.mark.parametrize("place", PLACES)
def test_each_grammar_counts_wherever_a_meter_is_read(place: str, accuracy: str, half: float) -> None:
    unit = PLACES[place][0]
    scale = 1.0 if place == "bond" else {"A": 1e-3, "V": 1.0, "ohm": 1e6}[unit]
    width = width_of(entries(place, accuracy), 2.0 * scale, unit)
    assert width is not None
    # a statement without counts leaves half a count of the display, uniform and independent (GUM 4.3.7)
    rest = 0.0 if "count" in accuracy or "dgt" in accuracy else 0.005
    assert width / scale == pytest.approx(math.hypot(half, rest), rel=1e-6)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("accuracy", ["0%", "1% + 1 F", "-1%", "101%", "1%, 2 counts", "good"])
def test_what_no_meter_prints_is_refused_where_it_stands(place: str, accuracy: str) -> None:
    with pytest.raises(JobError, match=r"^job:\d+: .*\.accuracy: .*such as '3%'"):
        entries(place, accuracy)
