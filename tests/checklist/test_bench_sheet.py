"""The bench sheet, in real Chromium where it matters: what is typed comes out as a readings file that is accepted."""

from __future__ import annotations

import io
import re

import pypdf
import pytest

from guardcheck.errors import InputError
from guardcheck.measure.readings import READABLE, parse_readings
from guardcheck.model import Expected
from guardcheck.model.expected import (
    FIRST_POWER,
    INTO_DISPLAY,
    LEAD_OUT,
    RUNNING,
    STATES,
    UNPOWERED,
    UNPOWERED_TURNED,
)
from guardcheck.report.bench_sheet.page import STEPS, blank_of, to_bench_sheet, to_bench_sheet_pdf
from guardcheck.report.handover.strings import words
from tests.checklist.conftest import DRAWN

LINES = (("red", ("level.white", "level.blank", "level.headroom", "response.overshoot")), ("sync", ("level.sync",)))
NASTY = 'r"ed\\ </script><b> {line} # \u00e9'


@pytest.fixture
def opened(page, tmp_path):
    """Return a function that opens a bench sheet in the browser."""

    def open_sheet(*args, **keywords):
        file = tmp_path / "sheet.html"
        file.write_text(to_bench_sheet(*args, **keywords), encoding="utf-8")
        page.goto(file.as_uri())
        return page

    return open_sheet


def saved(page, act) -> str:
    with page.expect_download() as download:
        act()
    text = download.value.path().read_text(encoding="utf-8")
    assert page.locator("#preview").input_value() == text
    assert download.value.suggested_filename in page.locator("#status").inner_text()
    return text


def field(page, line: str, quantity: str, key: str):
    return page.locator(f'[data-line="{line}"][data-quantity="{quantity}"] [data-key="{key}"]')


def test_steps_stand_in_the_order_of_the_work():
    sheet = to_bench_sheet(LINES)
    found = re.findall(r'<h2 id="(\w+)">', sheet)
    assert found == ["unplug", "discharge", "before", "solder", "inspect", "measure", "connect"] == list(STEPS)


def test_only_what_a_reading_can_give_is_asked_for():
    asked = re.findall(r'data-line="(\w+)" data-quantity="([\w.]+)"', to_bench_sheet(LINES))
    assert asked == [
        ("red", "level.white"),
        ("red", "level.blank"),
        ("sync", "level.sync"),
        ("red", "response.overshoot"),
    ]


def test_same_lines_give_the_same_bytes():
    assert to_bench_sheet(LINES, unit="DEMO-01") == to_bench_sheet(LINES, unit="DEMO-01")


def test_an_unknown_language_is_refused():
    with pytest.raises(InputError, match="accepted: en"):
        to_bench_sheet(LINES, language="xy")


def test_a_filled_sheet_becomes_a_readings_file(opened):
    page = opened(LINES, unit="DEMO-01")
    page.locator("#unplug-box-1").check()
    page.locator("#discharge-field-1").fill("12 V, C5")
    page.locator("#place").select_option("display")
    page.locator("#load").select_option("terminated")
    page.locator("#picture").select_option("bars-75")
    page.locator("#probe").select_option("x10")
    page.locator("#scale_at").select_option("input")
    page.locator("#scope_accuracy").fill("3%")
    page.locator("#meter_accuracy").fill("1.0% + 2 counts")
    field(page, "red", "level.white", "value").fill("2.6 div")
    field(page, "red", "level.white", "scale").fill("20 mV/div")
    field(page, "red", "level.blank", "value").fill("12 mV")
    field(page, "red", "level.blank", "instrument").select_option("meter")
    field(page, "red", "level.blank", "place").select_option("connector")
    field(page, "red", "response.overshoot", "value").fill("2%")
    text = saved(page, page.locator("#save").click)
    white, blank, sync, overshoot = parse_readings(text)
    assert (white.seen, white.probe, white.scale_at, white.picture) == (pytest.approx(0.052), 10.0, "input", "bars-75")
    assert (white.place, white.load, white.instrument) == ("display", "terminated", "scope")
    assert white.presumed["accuracy"] == "3%"
    assert (blank.instrument, blank.place, blank.probe, blank.seen) == (
        "meter",
        "connector",
        None,
        pytest.approx(0.012),
    )
    assert sync.unread
    assert (overshoot.seen, overshoot.place) == (pytest.approx(0.02), None)
    assert "# [x] Unit and display unplugged from the mains, plugs in sight" in text
    assert "# Highest voltage found, and where: 12 V, C5" in text


def test_an_empty_sheet_saves_unknowns_only(opened):
    page = opened(LINES)
    readings = parse_readings(saved(page, page.locator("#save").click))
    assert [reading.unread for reading in readings] == [True] * 4
    assert [(r.place, r.load, r.picture) for r in readings] == [(None, None, None)] * 4


def test_the_keyboard_alone_is_enough(opened):
    """WCAG 2.1.1: every control is reached with Tab in reading order and worked without a pointer."""
    page = opened((("red", ("level.white",)),))
    press = page.keyboard.press
    reached = []
    for _ in range(80):
        press("Tab")
        here = page.evaluate("document.activeElement.id || document.activeElement.dataset.key || ''")
        reached.append(here)
        if here == "unplug-box-2":
            press("Space")
        elif here == "load":
            press("ArrowDown")
        elif here == "value":
            page.keyboard.type("690 mV")
        elif here == "save":
            break
    text = saved(page, lambda: press("Enter"))
    (reading,) = parse_readings(text)
    assert (reading.seen, reading.load) == (pytest.approx(0.69), "terminated")
    assert "# [x] All signal leads" in text
    controls = page.evaluate(
        "[...document.querySelectorAll('a[href], input, select, .scroll')]"
        ".filter((e) => e.checkVisibility()).map((e) => e.id || e.dataset.key || '')"
    )
    assert reached == [*controls, "save"]


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("value", "700", "with its unit, such as 700 mV"),
        ("value", "0,7 V", "with its unit, such as 700 mV"),
        ("value", "3.5 div", "need a scale, such as 200 mV/div"),
        ("scale", "200", "need a scale, such as 200 mV/div"),
    ],
)
def test_a_number_without_unit_is_not_saved(opened, key, text, said):
    page = opened(LINES)
    field(page, "red", "level.white", key).fill(text)
    page.locator("#save").click()
    wrong = page.locator("[aria-invalid]")
    assert wrong.count() == 1
    assert said in page.locator(f"#{wrong.get_attribute('aria-describedby')}").inner_text()
    assert "second look" in page.locator("#status").inner_text()
    assert wrong.evaluate("(element) => element === document.activeElement")
    field(page, "red", "level.white", key).fill("")
    assert len(parse_readings(saved(page, page.locator("#save").click))) == 4
    assert page.locator("[aria-invalid]").count() == 0


def test_hostile_names_and_notes_come_out_as_text(opened):
    page = opened(((NASTY, ("level.white",)),), unit=NASTY, unit_kind=NASTY)
    page.locator("[data-reading] [data-key=note]").fill('a"\\ \u2028\x7f # [[reading]]')
    page.locator("#serial").fill('x"\x85 \u2029 y')
    text = saved(page, page.locator("#save").click)
    (reading,) = parse_readings(text)
    assert reading.line == NASTY
    assert reading.note == 'a"\\ # [[reading]]'
    assert page.locator("b").count() == 0


def test_free_rows_take_any_line(opened):
    page = opened()
    rows = page.locator("[data-reading]")
    page.locator("#save").click()
    assert "no reading to save" in page.locator("#status").inner_text()
    rows.nth(1).locator("[data-key=value]").fill("4.7 us")
    page.locator("#save").click()
    assert "name of the line" in rows.nth(1).locator(".error").inner_text()
    rows.nth(1).locator("[data-key=line]").fill("composite")
    rows.nth(1).locator("[data-key=quantity]").select_option("timing.sync_width")
    (reading,) = parse_readings(saved(page, page.locator("#save").click))
    assert (reading.line, reading.quantity, reading.seen) == ("composite", "timing.sync_width", pytest.approx(4.7e-6))


@pytest.mark.parametrize("quantity", READABLE)
def test_every_readable_quantity_can_be_written_with_its_own_example(quantity):
    from guardcheck.model import QUANTITIES
    from guardcheck.report.bench_sheet.page import _EXAMPLES, _SCALES

    unit = QUANTITIES[quantity].unit
    scale = f'scale = "{_SCALES[unit]}"\n' if unit in _SCALES else ""
    (reading,) = parse_readings(
        f'[[reading]]\nline = "a"\nquantity = "{quantity}"\nvalue = "{_EXAMPLES[unit]}"\n{scale}'
    )
    assert reading.seen > 0


def test_without_scripts_the_sheet_says_so(browser, tmp_path):
    file = tmp_path / "sheet.html"
    file.write_text(to_bench_sheet(LINES), encoding="utf-8")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(file.as_uri())
    assert page.locator("noscript").inner_text().strip() == words()("sheet.no_script")
    context.close()


def test_the_page_forbids_every_other_script_and_any_address(opened):
    page = opened(LINES)
    policy = page.locator("meta[http-equiv]").get_attribute("content")
    assert policy.startswith("default-src 'none'")
    assert re.search(r"script-src 'sha256-[\w+/=]+';", policy)
    assert page.evaluate("document.querySelectorAll('[src], link, img, iframe').length") == 0


def test_typed_text_is_not_lost_without_asking(opened):
    page = opened(LINES)
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    field(page, "red", "level.white", "value").fill("1 V")
    page.close(run_before_unload=True)
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]


# --- what each point should show, and the sheet for a pen ------------------------------------------------------------

EXPECTED = (
    Expected(("red", "green"), "M1", "the chip's pin", FIRST_POWER, "bench supply", "current", 0.1, 0.05, 0.15, "A"),
    Expected(
        ("red", "green"), "M1", "the chip's pin", UNPOWERED, "meter, ohms", "resistance", 339.0, 336.0, 343.0, "ohm"
    ),
    Expected(("red",), "M2", "the connector", UNPOWERED, "meter, diode test", "voltage", None, None, None, "V"),
    Expected(("red",), "M2", "the unit's connector", INTO_DISPLAY, "scope", "level.white", 0.7, 0.69, 0.71, "V"),
)


def test_every_point_stands_with_its_mark_its_expected_value_and_a_box(opened):
    page = opened(LINES, unit="DEMO-01", expected=EXPECTED, drawn=(DRAWN,))
    rows = page.locator("section[data-step] table.points tbody tr")
    told = [" ".join(rows.nth(n).inner_text().split()) for n in range(rows.count())]
    assert [one.partition(" ")[0] for one in told] == ["M1", "M2", "M1", "M2"]  # without power before the first power
    assert "339 ohm (336 ohm … 343 ohm)" in told[0]
    assert "over range" in told[1]
    assert "100 mA (50 mA … 150 mA)" in told[2]
    assert "700 mV (690 mV … 710 mV)" in told[3]
    inside = page.locator("section[data-step]").filter(has=page.locator("#inspect")).locator("table.points tr")
    assert inside.count() == 4  # a head and three rows
    page.get_by_label("M1 the chip's pin (red, green), no power, lead out: resistance").fill("338 ohm")
    svg = page.locator(".drawn svg")
    assert svg.count() == 1
    assert "75" in svg.text_content()


STEP_OF = {
    UNPOWERED: "inspect",
    UNPOWERED_TURNED: "inspect",
    FIRST_POWER: "inspect",
    LEAD_OUT: "measure",
    INTO_DISPLAY: "measure",
    RUNNING: "measure",
}
"""A unit is read without power, then on a bench supply, before it runs (order of the work)."""


def test_the_step_of_a_reading_does_not_hang_on_its_words(monkeypatch):
    """Every state in other words, all the same: each reading stands in its step, the first power-up last of its own."""
    shuffled = (INTO_DISPLAY, FIRST_POWER, UNPOWERED_TURNED, RUNNING, LEAD_OUT, UNPOWERED)
    rows = [Expected(("red",), mark, "pin", mark, "meter", "voltage", 1.0, 1.0, 1.0, "V") for mark in shuffled]

    def stood() -> dict[str, list[str]]:
        return {step.slug: [point.mark for point in step.points] for step in blank_of(LINES, expected=rows).steps}

    plain = stood()
    assert plain["inspect"] == [UNPOWERED_TURNED, UNPOWERED, FIRST_POWER]
    assert plain["measure"] == [INTO_DISPLAY, RUNNING, LEAD_OUT]
    assert {mark: slug for slug, marks in plain.items() for mark in marks} == STEP_OF
    assert set(STEP_OF) == set(STATES)
    monkeypatch.setattr("guardcheck.model.expected.STATES", dict.fromkeys(STATES, "no power, lead out"))
    assert stood() == plain


def test_a_sheet_without_figures_shows_no_empty_table():
    sheet = to_bench_sheet(LINES)
    assert 'table class="points"' not in sheet
    assert words()("sheet.drawn") not in sheet


def pdf_pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def test_the_sheet_for_a_pen_says_what_the_page_says():
    """Every box, field, warning and expected value of the sheet is read back from the PDF; it is tagged (PDF/UA-1)."""
    given = {"unit": "DEMO-01", "loads": {"red": "75 ohm", "sync": "1 kohm"}, "expected": EXPECTED, "drawn": (DRAWN,)}
    sheet = blank_of(LINES, **given)
    data = to_bench_sheet_pdf(LINES, **given)
    told = re.sub(r"[\s\u200b\u00a0]+", "", "".join(pdf_pages(data)))
    wanted = [*sheet.warnings, *(one.heading for one in sheet.wanted)]
    wanted += [text for step in sheet.steps for text in (step.title, *step.boxes, *step.fields)]
    wanted += [text for step in sheet.steps for point in step.points for text in (point.mark, point.shows)]
    assert [text for text in wanted if re.sub(r"\s+", "", text) not in told] == []
    assert pypdf.PdfReader(io.BytesIO(data)).trailer["/Root"]["/MarkInfo"]["/Marked"].value is True
    assert data == to_bench_sheet_pdf(LINES, **given)
    assert to_bench_sheet_pdf(paper="letter")[:5] == b"%PDF-"
