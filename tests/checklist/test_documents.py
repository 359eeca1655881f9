"""The customer's two pages and the technician's record: page and PDF agree, hostile text is harmless, same bytes."""

from __future__ import annotations

import html as html_
import io
import re
import tomllib
from collections import Counter
from dataclasses import asdict, replace
from importlib import resources

import pypdf
import pytest
from typer.testing import CliRunner

from guardcheck.cli import app
from guardcheck.errors import InputError
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_MEASURED,
    NOT_PROVEN,
    QUANTITIES,
    Condition,
    Fact,
    Facts,
    Finding,
)
from guardcheck.report import from_json, to_json
from guardcheck.report.handover import (
    record,
    sheet_of,
    to_checklist_html,
    to_checklist_pdf,
    to_record_html,
    to_record_pdf,
)
from guardcheck.report.handover.customer import bar_of
from guardcheck.report.handover.pdf import settable
from guardcheck.report.handover.strings import languages, words
from guardcheck.rules import judge_all
from tests.checklist.conftest import COLOURS, DRAWN, WHITE, result, row

HOSTILE = '</td><script>alert(1)</script> #panic("x") $x$ *b* `c` [d] @e <f> \\ {{ 7*7 }} \u202egnp.\x1b[31m'


@pytest.fixture(params=["conforming", "failing", "open_"])
def unit(request):
    found = request.getfixturevalue(request.param)
    return found if isinstance(found, tuple) else (found, None)


def squashed(text: str) -> str:
    return re.sub(r"[\s\u200b\u00a0]+", "", text)


def page_text(page: str) -> str:
    body = re.sub(r"(?s)<style>.*?</style>", "", page)
    return squashed(html_.unescape(re.sub(r"(?s)<[^>]+>", "", body)))


def pdf_text(data: bytes, unit: str) -> str:
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    foot = rf"(?s){re.escape(unit)}\s+(result .{{10,60}}?)?page \d+ of \d+\s*$"
    return squashed("".join(re.sub(foot, "", p) for p in pages))


def texts(value) -> list[str]:
    """Return every text of a document that a reader sees."""
    hidden = {"kind", "tone", "style", "slug", "weight", "outcome", "language", "labels", "hash", "state", "drawings"}
    hidden |= {"drawing", "shows", "ids", "none", "more_measured", "picture", "told"}
    if isinstance(value, str):
        return [value] if value else []
    if isinstance(value, dict):
        shown = {key: item for key, item in value.items() if key not in hidden}
        shown["tally"] = [word for _, word, _ in value.get("tally", ())]
        return [text for item in shown.values() for text in texts(item)]
    if isinstance(value, list | tuple):
        return [text for item in value for text in texts(item)]
    return []


def pages_of(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def test_page_and_pdf_of_the_sheet_say_the_same(unit):
    wanted = [squashed(text) for text in texts(asdict(sheet_of(*unit)))]
    page, pdf = page_text(to_checklist_html(*unit)), pdf_text(to_checklist_pdf(*unit), unit[0].unit)
    assert len(wanted) > 40
    assert [text for text in wanted if text not in page] == []
    assert [text for text in wanted if text not in pdf] == []


def test_page_and_pdf_of_the_record_say_the_same(unit):
    wanted = [squashed(text) for text in texts(asdict(record(*unit)))]
    page, pdf = page_text(to_record_html(*unit)), pdf_text(to_record_pdf(*unit), unit[0].unit)
    assert len(wanted) > 50
    assert [text for text in wanted if text not in page] == []
    assert [text for text in wanted if text not in pdf] == []


@pytest.mark.parametrize("make", [to_checklist_html, to_checklist_pdf, to_record_html, to_record_pdf])
def test_same_result_gives_the_same_bytes_and_a_saved_one_too(unit, make):
    again = tuple(one and from_json(to_json(one)) for one in unit)
    assert make(*unit) == make(*again)


def test_no_date_is_printed(unit):
    for page in (to_checklist_html(*unit), to_record_html(*unit)):
        assert re.search(r"\b20\d\d-\d\d|\b\d\d:\d\d\b", page) is None
    for data in (to_checklist_pdf(*unit), to_record_pdf(*unit)):
        info = pypdf.PdfReader(io.BytesIO(data)).metadata
        assert "/CreationDate" not in info
        assert "/ModDate" not in info


def many() -> tuple[Finding, ...]:
    """Return every quantity of four lines failing, open and conforming, with reasons as long as a stress event's."""
    long = "The rating is exceeded by 31.3 dB; worst case: unit on, source at its lowest, positive. " * 6
    outcomes = (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS)
    names = [name for name in QUANTITIES if not name.startswith("event.")]
    rows = [
        row(name, line, True, 1.0, outcome=outcomes[n % 3], why=long if n % 12 == 0 else "a reason")
        for n, name in enumerate(names)
        for line in (*COLOURS, "sync")
    ]
    events = [("hot-plug", "first contact"), ("misplug", "5 V"), ("misplug", "12 V"), ("back-power", "video 1 V")]
    rows += [
        row("event.margin", line, True, -3.0, event=event, severity=level, outcome=DOES_NOT_CONFORM, why=long)
        for event, level in events
        for line in (*COLOURS, "sync")
    ]
    return tuple(rows)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_sheet_is_two_pages_however_much_there_is_to_say(unit, paper):
    assert len(pages_of(to_checklist_pdf(*unit, paper=paper))) == 2
    wide = "W" * 500
    conditions = tuple(Condition(f"event-{n}", f"{wide} {n}", COLOURS, "mistake") for n in range(20))
    plan = tuple((f"line-{n}", "stage", wide) for n in range(32))
    full = result(many(), unit=wide, unit_kind=wide, conditions=conditions, plan=plan, not_examined=(wide,) * 30)
    assert len(pages_of(to_checklist_pdf(full, paper=paper, workshop=wide))) == 2
    assert any("and " in text and " more" in text for text in texts(asdict(sheet_of(full))))


def test_the_record_of_four_lines_is_at_most_eight_pages():
    assert len(pages_of(to_record_pdf(result(many())))) <= 8


def test_the_record_draws_each_line_once(conforming):
    check, readings = conforming
    told = record(replace(check, schematics=(DRAWN,)), readings)
    (section,) = [one for one in told.sections if one.slug == "drawn"]
    assert [block.picture for block in section.blocks] == ["line-1"] == list(told.drawings)
    assert 100.0 < section.blocks[0].width <= 505.0
    assert "M1" in section.blocks[0].told
    page = to_record_html(replace(check, schematics=(DRAWN,)), readings)
    assert page.count("<svg ") == 1
    assert to_record_pdf(replace(check, schematics=(DRAWN,)), readings)[:5] == b"%PDF-"


def judged_rows(sheet):
    (table,) = [b for s in sheet.sections if s.slug == "judged" for b in s.blocks if b.kind == "grid"]
    return table.rows


def test_the_record_holds_every_needed_finding_exactly_once(unit):
    """Read back from the PDF as well: every row's number and quantity stand there once, in the order of the rows."""
    both = [one for result_ in unit if result_ is not None for one in result_.findings if one.needed]
    rows = judged_rows(record(*unit))
    held = Counter(identity for one in rows for identity in one.ids)
    assert held == Counter(one.id for one in both)
    told = pdf_text(to_record_pdf(*unit), unit[0].unit)
    table = told[told.index(squashed(words()("record.judged_note"))) :]
    places = [table.index(squashed(one.cells[0].main)) for one in rows]
    assert places == sorted(places)
    assert [one.cells[0].main.partition(".")[0] for one in rows] == [str(n) for n in range(1, len(rows) + 1)]


def test_a_reason_is_told_once_and_only_where_something_fails_or_is_open(failing):
    rows = judged_rows(record(failing))
    notes = [note for one in rows for note in one.note]
    assert len(notes) == len(set(notes))
    assert all(bool(one.note) == (one.cells[-1].outcome in (DOES_NOT_CONFORM, NOT_PROVEN)) for one in rows)


def test_the_customer_reads_no_decibel(unit):
    assert "dB" not in "".join(pages_of(to_checklist_pdf(*unit)))
    assert "dB" not in page_text(to_checklist_html(*unit))
    failing = result(many())
    assert "dB" not in "".join(pages_of(to_checklist_pdf(failing)))


KEEP = Condition("hot-plug", "Pull both mains plugs before the lead goes in", COLOURS, "mistake")


def test_three_states_in_which_a_unit_changes_hands(conforming, failing, open_):
    check, readings = conforming
    kept = replace(check, conditions=(KEEP,))
    states = {
        name: (sheet.state, sheet.headline)
        for name, sheet in {
            "ready": sheet_of(check, readings),
            "conditions": sheet_of(kept, readings),
            "plan only": sheet_of(kept),
            "open": sheet_of(open_),
            "failing": sheet_of(failing),
        }.items()
    }
    assert states == {
        "ready": ("ready", "READY: connect it as shown."),
        "conditions": ("conditions", "READY WITH CONDITIONS: read the line below, then sign."),
        "plan only": ("not_ready", "NOT READY TO CONNECT."),
        "open": ("not_ready", "NOT READY TO CONNECT."),
        "failing": ("not_ready", "NOT READY TO CONNECT."),
    }


def test_a_condition_stands_first_on_the_label_and_among_what_it_is_not_safe_against(conforming):
    check, readings = conforming
    said = {"hot-plug": "lead plugged in live"}
    sheet = sheet_of(replace(check, conditions=(KEEP,), extra={"events": said}), readings)
    assert sheet.conditions.items == (KEEP.text,)
    assert sheet.label.items == ("Pull BOTH mains plugs before this lead goes in or comes out.", KEEP.text)
    assert sheet.against.items == ("lead plugged in live (red, green, blue)",)
    first = pages_of(to_checklist_pdf(replace(check, conditions=(KEEP,), extra={"events": said}), readings))[0]
    assert first.index("READY WITH CONDITIONS") < first.index(KEEP.text) < first.index("Checklist for you")


def test_what_a_rule_keeps_away_and_nobody_has_proven_stands_once(failing):
    """The same event as open and as kept away would read as two things."""
    event = next(one for one in failing.findings if one.event and one.needed and one.outcome == DOES_NOT_CONFORM)
    rows = tuple(replace(one, outcome=NOT_PROVEN) if one.event else one for one in failing.findings)
    kept = replace(KEEP, event=event.event, lines=(event.line,))
    sheet = sheet_of(replace(failing, findings=rows, conditions=(kept,)))
    told = [text.partition(" (")[0] for text in (*sheet.open.items, *sheet.against.items)]
    assert event.event in told
    assert len(told) == len(set(told))


def test_what_nobody_measured_is_seen_and_never_called_measured(open_, conforming):
    rows = {one.name: one for one in sheet_of(open_).measured}
    assert {one.read for one in rows.values()} == {"NOT MEASURED"}
    assert "touch current" in rows
    shown = sheet_of(*conforming)
    assert [one.name for one in shown.measured if one.read == "NOT MEASURED"] == []
    assert "Nothing was measured" not in " ".join(texts(asdict(shown)))


def test_nothing_measured_is_not_said_above_what_was_measured(conforming):
    check, readings = conforming
    check = replace(check, not_examined=(*check.not_examined, NOT_MEASURED))
    assert any("Nothing was measured" in one for one in sheet_of(check).unexamined.items)
    shown = sheet_of(check, readings)
    assert any(one.read.startswith("702 mV") for one in shown.measured)
    assert not any("Nothing was measured" in one for one in shown.unexamined.items)


def test_a_measured_value_stands_with_its_uncertainty_its_limits_and_a_bar(conforming):
    """0.25 of the allowed span is drawn beyond either end: 702 mV in 496 to 989 mV lies at 0.4452 of the bar."""
    red = next(one for one in sheet_of(*conforming).measured if one.name == "red white level")
    assert (red.read, red.allowed) == ("702 mV ± 21 mV", "496 to 989 mV")
    span = 1.5 * (0.989 - 0.496)
    start = 0.496 - 0.25 * (0.989 - 0.496)
    assert (red.bar.low, red.bar.high) == pytest.approx((1 / 6, 5 / 6))
    assert red.bar.value == pytest.approx((0.702 - start) / span)
    one_sided = row("touch.current", None, None, 0.4e-3, limit=replace(WHITE, low=None, high=0.5e-3), origin=MEASURED)
    assert bar_of(one_sided).value == pytest.approx((0.4 + 0.125) / 0.75)
    far = row("level.white", "red", True, 5.0, limit=WHITE, origin=MEASURED)
    assert bar_of(far).value == 1.0
    assert bar_of(row("level.white", "red", True, None, limit=WHITE)) is None


def test_a_unit_that_fails_is_not_to_be_connected(failing):
    sheet = sheet_of(failing)
    assert sheet.headline == "NOT READY TO CONNECT."
    assert "Leave it unplugged" in sheet.labels["steps_lead"]
    assert sheet.against.title.startswith("Does not conform")
    too_much = "The signal is too strong or too weak for the input of a television or monitor"
    assert {text.partition(" (")[0] for text in sheet.against.items} == {"hot-plug", too_much}


def test_nobody_at_home_is_sent_to_join_two_0_volts(unit):
    """A layman told to bond adds a wire: the lead goes fully home, and that is all."""
    sheet = sheet_of(*unit)
    assert any("Push the picture lead fully home in both sockets" in step.text for step in sheet.steps)
    assert not re.search(r"\bbond|add a wire|0 V first", " ".join(texts(asdict(sheet))), re.IGNORECASE)


def test_what_conforms_claims_no_more_than_was_measured(conforming):
    """Line tilt alone is no sharp picture: no sentence of the sheet praises what no finding shows."""
    said = " ".join(texts(asdict(sheet_of(*conforming))))
    assert not re.search(r"arrives sharp|colour reference is right|suits the input", said)


def test_a_family_of_checks_has_words_for_what_fails_and_none_of_praise():
    """What conforms is named with its figures: there is no sentence that could say more than was measured."""
    text = (resources.files("guardcheck.report.handover.strings") / "en.toml").read_text(encoding="utf-8")
    assert {name for one in tomllib.loads(text)["family"].values() for name in one} == {"name", "fails"}


@pytest.mark.parametrize(("where", "words_"), [("battery", "Saved games"), ("crt", "deadly charge")])
def test_the_customer_is_told_of_a_hazard_inside(conforming, where, words_):
    check, readings = conforming
    told = row("declared.fact", None, None, None, where=where, needed=False, outcome="not_applicable", why="a caution")
    sheet = sheet_of(replace(check, findings=(*check.findings, told)), readings)
    assert any(words_ in text for text in sheet.keep.items)
    assert not any(words_ in text for text in sheet_of(*conforming).keep.items)


@pytest.mark.parametrize(
    ("quantity", "where", "fact"),
    [
        ("declared.fact", "battery", "There is a lithium cell"),
        ("declared.fact", "crt", "There is a picture tube"),
        ("declared.fact", "mains inside", "Mains is inside"),
        ("laser.power", "lens", "There is a laser"),
    ],
)
def test_the_customer_is_not_told_as_a_fact_what_nobody_knows(conforming, quantity, where, fact):
    check, readings = conforming
    keys = {"battery": "lithium_cell", "crt": "crt", "mains inside": "mains_inside", "lens": "laser"}
    for word, known in (("unknown", False), (True, True)):
        declared = Fact("hazards", 0, "hazards 1", {"others": False, keys[where]: word})
        found = judge_all(Facts(declared=(declared,)))
        (told,) = [one for one in found if (one.quantity, one.where) == (quantity, where)]
        added = set(sheet_of(replace(check, findings=(*check.findings, told)), readings).keep.items)
        (said,) = added - set(sheet_of(*conforming).keep.items)
        assert said.startswith(fact) is known
        assert said.startswith("Nobody knows") is not known


def test_a_contradiction_between_plan_and_reading_is_shown(conforming, altered):
    check, readings = conforming
    bad = altered(check, "level.sync", outcome=DOES_NOT_CONFORM, why="far too strong")
    assert "not what was built" in to_record_html(bad, readings)
    assert 'class="verdict not_ready"' in to_checklist_html(bad, readings)


def test_margins_and_references_are_in_the_record(failing):
    told = texts(asdict(record(failing)))
    assert {"-19.2 dB", "4.4 dB"} <= set(told)
    assert any("-12 dB, does not conform" in text for text in told)  # the bare line, for information
    assert any("from memory, unverified" in text for text in told)
    assert any("Invented standard 1, 2nd edition, table 1" in text for text in told)
    assert any(text.endswith("to spare") for text in told)


def test_nothing_open_shows_a_distance_to_spare(open_):
    cells = [cell for line in judged_rows(record(open_)) for cell in line.cells if cell.main == "500 mV"]
    assert cells
    assert not any("spare" in text for cell in cells for text in cell.small)


def test_measured_values_carry_uncertainty_limit_and_plan(conforming):
    told = texts(asdict(record(*conforming)))
    assert {"702 mV", "± 21 mV (k = 2)", "496 to 989 mV [1]", "planned 690 mV"} <= set(told)


def test_hostile_text_stays_text(failing):
    rows = tuple(replace(one, why=HOSTILE, remedy=HOSTILE, where=HOSTILE) for one in failing.findings)
    bad = replace(failing, unit=HOSTILE, unit_kind=HOSTILE, findings=rows, cautions=(HOSTILE,), job_file=HOSTILE,
                  plan=(("red", HOSTILE, HOSTILE), (HOSTILE, "stage", HOSTILE)), not_examined=(HOSTILE,))  # fmt: skip
    for page in (to_checklist_html(bad), to_record_html(bad)):
        assert "<script" not in page
        assert "\u202e" not in page
        assert "\x1b" not in page
        assert "{{ 7*7 }}" in page
    text = pdf_text(to_record_pdf(bad), "no footer")
    assert squashed('<script>alert(1)</script> #panic("x") $x$ *b*') in text
    assert squashed('<script>alert(1)</script> #panic("x")') in pdf_text(to_checklist_pdf(bad), "no footer")


def test_a_character_the_fonts_lack_is_named_not_lost():
    assert settable("A 漢 z") == "A [U+6F22] z"
    strange = result((row("level.white", "red", True, 0.7, outcome=NOT_PROVEN, why="漢字 \U0001f4a5 שלום"),), unit="漢")
    assert "[U+6F22]" in pdf_text(to_record_pdf(strange), "-")
    assert "[U+6F22]" in pdf_text(to_checklist_pdf(strange), "-")
    assert "漢字" in to_record_html(strange)


def test_every_character_that_is_let_through_can_be_set():
    """PDF/UA-1 refuses a glyph the fonts lack, so one document with all of them proves the list."""
    kept = "".join(char for char in map(chr, range(0x20, 0x2FFF)) if settable(char) == char)
    assert len(kept) > 500
    groups = " ".join(kept[n : n + 12] for n in range(0, len(kept), 12))
    rows = (row("level.white", "red", True, 0.7, outcome=NOT_PROVEN, why=groups),)
    assert to_record_pdf(result(rows))[:5] == b"%PDF-"


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
@pytest.mark.parametrize(
    ("make", "name"), [(to_checklist_pdf, "Hand-over sheet"), (to_record_pdf, "Technician's record")]
)
def test_pdf_is_tagged_titled_and_of_the_paper_asked(conforming, make, name, paper, size):
    """PDF/UA-1 (ISO 14289-1) asks for tags, a language and a shown title; sizes are ISO 216 and ANSI/ASME Y14.1."""
    reader = pypdf.PdfReader(io.BytesIO(make(*conforming, paper=paper)))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert reader.metadata.title == f"DEMO-01: {name}"
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)
    tags = set()
    stack = [root["/StructTreeRoot"]]
    while stack:
        node = stack.pop().get_object()
        if isinstance(node, list):
            stack += node
        elif isinstance(node, dict):
            tags.add(node.get("/S"))
            stack += [node["/K"]] if "/K" in node and not isinstance(node["/K"], int) else []
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/LI", "/P"} <= tags


def test_the_workshop_heads_the_sheet(conforming):
    page = to_checklist_html(*conforming, workshop="Invented Repairs <b>")
    assert '<p class="kicker"><span>Invented Repairs &lt;b&gt;</span>' in page
    for make in (to_checklist_pdf, to_record_pdf):
        assert squashed("Invented Repairs <b>") in pdf_text(make(*conforming, workshop="Invented Repairs <b>"), "-")


def test_paper_and_language_are_known_words(conforming):
    for make in (to_checklist_pdf, to_record_pdf):
        with pytest.raises(InputError, match=r"no paper 'a5'; accepted: a4, letter; did you mean 'a4'\?"):
            make(*conforming, paper="a5")
    with pytest.raises(InputError, match="no strings for language 'xx'"):
        to_checklist_html(*conforming, language="xx")


def alike(**changed):
    """Return hot plug of red, green and blue with one value and one reason; `changed` alters blue's."""
    same = {"event": "hot-plug", "severity": "8 kV", "outcome": DOES_NOT_CONFORM, "why": "exceeded by 3 dB"}
    return tuple(
        row("event.margin", line, True, -3.0, **{**same, **(changed if line == "blue" else {})}) for line in COLOURS
    )


@pytest.mark.parametrize(
    ("changed", "wanted"),
    [
        ({}, [("red, green, blue", DOES_NOT_CONFORM, "Exceeded by 3 dB.")]),
        (
            {"why": "exceeded by 5 dB"},
            [("red, green", DOES_NOT_CONFORM, "Exceeded by 3 dB."), ("blue", DOES_NOT_CONFORM, "Exceeded by 5 dB.")],
        ),
        (
            {"outcome": NOT_PROVEN},
            [("red, green", DOES_NOT_CONFORM, "Exceeded by 3 dB."), ("blue", NOT_PROVEN, "Exceeded by 3 dB.")],
        ),
    ],
)
def test_lines_share_a_row_only_where_all_they_say_is_the_same(changed, wanted):
    rows = judged_rows(record(result(alike(**changed))))
    assert [(one.cells[1].small[0], one.cells[-1].outcome, one.note[0]) for one in rows] == wanted


def test_the_signatures_stand_on_the_first_page(unit):
    first, _ = pages_of(to_checklist_pdf(*unit))
    assert words()("sign.workshop") in first
    assert words()("sign.customer") in first


def test_the_readings_hash_is_on_the_sheet(conforming):
    from guardcheck.report.handover import result_hash

    page = to_record_html(*conforming)
    assert all(result_hash(one) in page for one in conforming)


def test_every_quantity_has_words_for_its_family():
    say = words()
    assert {name.split(".")[0] for name in QUANTITIES} <= {
        k.split(".")[1] for k in say.texts if k.startswith("family.") and k.endswith(".fails")
    }


def test_every_language_has_the_same_keys_and_the_same_names_in_braces():
    first = words()
    for language in languages():
        other = words(language)
        assert other.texts.keys() == first.texts.keys()
        assert other.lists.keys() == first.lists.keys()
        assert other.pairs.keys() == first.pairs.keys()
        for key, text in first.texts.items():
            assert set(re.findall(r"\{(\w+)\}", text)) == set(re.findall(r"\{(\w+)\}", other.texts[key])), key


def test_the_command_writes_sheet_and_record_and_a_bench_sheet_for_a_pen(conforming, tmp_path):
    for name, one in zip(("check", "verify"), conforming, strict=True):
        (tmp_path / f"{name}.json").write_text(to_json(one), encoding="utf-8")
    saved = ["--result", str(tmp_path / "check.json"), "--verified", str(tmp_path / "verify.json")]
    files = {kind: tmp_path / f"{kind}.pdf" for kind in ("pdf", "record")}
    options = [text for kind, file in files.items() for text in (f"--{kind}", str(file))]
    done = CliRunner().invoke(app, ["checklist", *saved, *options])
    assert done.exit_code == 0, done.output
    assert all(file.name in done.output for file in files.values())
    assert files["pdf"].read_bytes() == to_checklist_pdf(*conforming)
    assert files["record"].read_bytes() == to_record_pdf(*conforming)
    page = tmp_path / "record.html"
    assert CliRunner().invoke(app, ["checklist", *saved, "--record", str(page)]).exit_code == 0
    assert page.read_text(encoding="utf-8") == to_record_html(*conforming)
    blank = tmp_path / "blank.pdf"
    assert CliRunner().invoke(app, ["checklist", "--blank", "--pdf", str(blank)]).exit_code == 0
    assert blank.read_bytes()[:5] == b"%PDF-"
    assert isinstance(CliRunner().invoke(app, ["checklist", "--blank"]).exception, InputError)
