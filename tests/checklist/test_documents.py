"""Page and PDF of the checklist: same content, first things first, hostile text harmless, same bytes twice."""

from __future__ import annotations

import html as html_
import io
import re
from dataclasses import asdict, replace

import pypdf
import pytest

from guardcheck.errors import InputError
from guardcheck.model import DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, QUANTITIES
from guardcheck.report import from_json, to_json
from guardcheck.report.handover import document, to_checklist_html, to_checklist_pdf
from guardcheck.report.handover.pdf import settable
from guardcheck.report.handover.strings import languages, words
from tests.checklist.conftest import COLOURS, result, row

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
    return squashed(
        "".join(re.sub(rf"(?s){re.escape(unit)}\s+result .{{10,60}}?page \d+ of \d+\s*$", "", p) for p in pages)
    )


def texts(value) -> list[str]:
    """Return every text of a document that a reader sees."""
    hidden = {"kind", "tone", "style", "slug", "weight", "outcome", "language", "labels", "hash", "verdict"}
    if isinstance(value, str):
        return [value] if value else []
    if isinstance(value, dict):
        shown = {key: item for key, item in value.items() if key not in hidden}
        shown["tally"] = [word for _, word, _ in value.get("tally", ())]
        return [text for item in shown.values() for text in texts(item)]
    if isinstance(value, list | tuple):
        return [text for item in value for text in texts(item)]
    return []


def test_page_and_pdf_say_everything_the_document_says(unit):
    wanted = [squashed(text) for text in texts(asdict(document(*unit)))]
    page = page_text(to_checklist_html(*unit))
    pdf = pdf_text(to_checklist_pdf(*unit), unit[0].unit)
    assert len(wanted) > 100
    assert [text for text in wanted if text not in page] == []
    assert [text for text in wanted if text not in pdf] == []


def test_same_result_gives_the_same_bytes_and_a_saved_one_too(unit):
    again = tuple(one and from_json(to_json(one)) for one in unit)
    assert to_checklist_html(*unit) == to_checklist_html(*again)
    assert to_checklist_pdf(*unit) == to_checklist_pdf(*again)


def test_no_date_is_printed(unit):
    page = to_checklist_html(*unit)
    assert re.search(r"\b20\d\d-\d\d|\b\d\d:\d\d\b", page) is None
    info = pypdf.PdfReader(io.BytesIO(to_checklist_pdf(*unit))).metadata
    assert "/CreationDate" not in info
    assert "/ModDate" not in info


def test_what_fails_and_what_is_open_stand_before_what_conforms(unit):
    sheet = document(*unit)
    slugs = [section.slug for section in sheet.front]
    assert slugs[-3:] == ["open", "shown", "work"]
    assert ("fails" in slugs) == (sheet.outcome == DOES_NOT_CONFORM)
    assert slugs[0] in ("fails", "open")


def test_the_customer_reads_no_number_but_counts(failing):
    for section in (*document(failing).front[:3], *document(failing).home):
        for text in texts(asdict(section)):
            assert not re.search(r"\d (mV|mA|V|A|ohm|dB|MHz)\b", text), text


def test_a_unit_that_fails_is_not_to_be_connected(failing):
    sheet = document(failing)
    assert "do not connect" in sheet.headline
    connect = next(section for section in sheet.home if section.slug == "connect")
    assert connect.blocks[0].tone == "stop"
    assert any("can destroy" in text for text in texts(asdict(connect)))


def test_no_event_run_is_said_and_not_passed_over(open_):
    connect = next(section for section in document(open_).home if section.slug == "connect")
    assert any("was not examined" in text for text in texts(asdict(connect)))


def test_a_contradiction_between_plan_and_reading_is_shown(conforming, altered):
    check, readings = conforming
    bad = altered(check, "level.sync", outcome=DOES_NOT_CONFORM, why="far too strong")
    page = to_checklist_html(bad, readings)
    assert "not what was built" in page
    assert 'class="verdict does_not_conform"' in page


def test_every_finding_of_the_result_is_on_the_technicians_pages(unit):
    sheet = document(*unit)
    told = " ".join(texts([asdict(section) for section in sheet.bench]))
    for one in (*unit[0].findings, *(unit[1].findings if unit[1] else ())):
        assert QUANTITIES[one.quantity].title in told
        if one.outcome != NOT_APPLICABLE:
            assert one.why[:1].upper() + one.why[1:] in told or one.why in told, one


def test_bare_and_guarded_margins_and_sources_are_there(failing):
    told = texts([asdict(section) for section in document(failing).bench])
    assert {"-19.2 dB", "4.4 dB", "-12 dB"} <= set(told)
    assert any("from memory, unverified" in text for text in told)
    assert any("Invented standard 1, 2nd edition, table 1" in text for text in told)
    assert any(text.endswith("to spare") for text in told)


def test_nothing_open_shows_a_distance_to_spare(open_):
    grid = next(b for s in document(open_).bench if s.slug == "simulated" for b in s.blocks if b.kind == "grid")
    cells = [cell for line in grid.rows for cell in line.cells if cell.main == "500 mV"]
    assert cells
    assert not any("spare" in text for cell in cells for text in cell.small)


def test_measured_values_carry_uncertainty_limit_and_plan(conforming):
    told = texts([asdict(section) for section in document(*conforming).bench if section.slug == "measured"])
    assert {"702 mV", "± 21 mV (k = 2)", "496 to 989 mV [1]", "690 mV"} <= set(told)


def test_hostile_text_stays_text(failing):
    rows = tuple(replace(one, why=HOSTILE, remedy=HOSTILE, where=HOSTILE) for one in failing.findings)
    bad = replace(failing, unit=HOSTILE, unit_kind=HOSTILE, findings=rows, cautions=(HOSTILE,), job_file=HOSTILE,
                  plan=(("red", HOSTILE, HOSTILE), (HOSTILE, "stage", HOSTILE)), not_examined=(HOSTILE,))  # fmt: skip
    page = to_checklist_html(bad)
    assert "<script" not in page
    assert "\u202e" not in page
    assert "\x1b" not in page
    assert "{{ 7*7 }}" in page
    text = pdf_text(to_checklist_pdf(bad), "no footer")
    assert squashed('<script>alert(1)</script> #panic("x") $x$ *b*') in text


def test_a_character_the_fonts_lack_is_named_not_lost():
    assert settable("A 漢 z") == "A [U+6F22] z"
    strange = result((row("level.white", "red", True, 0.7, why="漢字 \U0001f4a5 שלום"),), unit="漢")
    assert "[U+6F22]" in pdf_text(to_checklist_pdf(strange), "-")
    assert "漢字" in to_checklist_html(strange)


def test_every_character_that_is_let_through_can_be_set():
    """PDF/UA-1 refuses a glyph the fonts lack, so one document with all of them proves the list."""
    kept = "".join(char for char in map(chr, range(0x20, 0x2FFF)) if settable(char) == char)
    assert len(kept) > 500
    groups = " ".join(kept[n : n + 12] for n in range(0, len(kept), 12))
    assert to_checklist_pdf(result((row("level.white", "red", True, 0.7, why=groups),)))[:5] == b"%PDF-"


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_pdf_is_tagged_titled_and_of_the_paper_asked(conforming, paper, size):
    """PDF/UA-1 (ISO 14289-1) asks for tags, a language and a shown title; sizes are ISO 216 and ANSI/ASME Y14.1."""
    reader = pypdf.PdfReader(io.BytesIO(to_checklist_pdf(*conforming, paper=paper)))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert reader.metadata.title == "DEMO-01: Hand-over checklist"
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
    assert {"/H1", "/H2", "/H3", "/Table", "/TH", "/TD", "/L", "/LI", "/P"} <= tags


def test_the_workshop_heads_the_sheet(conforming):
    page = to_checklist_html(*conforming, workshop="Invented Repairs <b>")
    assert '<p class="kicker"><span>Invented Repairs &lt;b&gt;</span>' in page
    assert squashed("Invented Repairs <b>") in pdf_text(
        to_checklist_pdf(*conforming, workshop="Invented Repairs <b>"), "-"
    )


def test_paper_and_language_are_known_words(conforming):
    with pytest.raises(InputError, match=r"no paper 'a5'; accepted: a4, letter; did you mean 'a4'\?"):
        to_checklist_pdf(*conforming, paper="a5")
    with pytest.raises(InputError, match="no strings for language 'xx'"):
        to_checklist_html(*conforming, language="xx")


def test_not_proven_stands_on_the_first_page_however_much_fails(conforming):
    """Every family of quantities fails on one line and is open on another: the list still begins and ends on page 1."""
    names = {name.split(".")[0]: name for name in QUANTITIES}
    rows = [
        row(name, line, None, 1.0, outcome=outcome, why="a reason")
        for name in names.values()
        for line, outcome in (("red", DOES_NOT_CONFORM), ("green", NOT_PROVEN))
    ]
    reader = pypdf.PdfReader(io.BytesIO(to_checklist_pdf(result(tuple(rows), not_examined=()))))
    first = squashed(reader.pages[0].extract_text())
    say = words()
    for name in names:
        assert first.count(squashed(say(f"family.{name}.open"))) == 1, name
        assert squashed(say(f"family.{name}.fails")) in first, name


def alike(**changed):
    """Return hot plug of red, green and blue with one value and one reason; `changed` alters blue's."""
    same = {"event": "hot-plug", "severity": "8 kV", "outcome": DOES_NOT_CONFORM, "why": "passed by 3 dB"}
    return tuple(
        row("event.margin", line, True, -3.0, **{**same, **(changed if line == "blue" else {})}) for line in COLOURS
    )


def bench_section(sheet, slug):
    return next(section for section in sheet.bench if section.slug == slug)


def test_what_three_lines_share_is_said_once():
    sheet = document(result(alike()))
    (fails,) = [block for block in bench_section(sheet, "bench-fails").blocks if block.kind == "bullets"]
    assert [(item.text, item.about) for item in fails.items] == [
        ("Passed by 3 dB.", "red, green, blue: guarded margin in hot-plug, 8 kV (TST01)")
    ]
    (table,) = [block for block in bench_section(sheet, "simulated").blocks if block.kind == "grid"]
    assert table.caption == "Red, green, blue: stress events"
    assert [one.note for one in table.rows if not one.group] == [("Passed by 3 dB.",)]


def test_a_line_that_differs_keeps_its_own_row_with_its_name():
    sheet = document(result(alike(why="passed by 5 dB")))
    (fails,) = [block for block in bench_section(sheet, "bench-fails").blocks if block.kind == "bullets"]
    assert [item.about.partition(":")[0] for item in fails.items] == ["red, green", "blue"]
    (table,) = [block for block in bench_section(sheet, "simulated").blocks if block.kind == "grid"]
    rows = [one for one in table.rows if not one.group]
    assert [(one.cells[0].small[0], one.note[0]) for one in rows] == [
        ("red, green", "Passed by 3 dB."),
        ("blue", "Passed by 5 dB."),
    ]


def test_lines_share_rows_only_with_the_same_outcome():
    sheet = document(result(alike(outcome=NOT_PROVEN)))
    (table,) = [block for block in bench_section(sheet, "simulated").blocks if block.kind == "grid"]
    assert [one.cells[-1].outcome for one in table.rows if not one.group] == [DOES_NOT_CONFORM, NOT_PROVEN]


def test_no_page_but_the_last_is_left_nearly_empty(unit):
    """The signatures stay together; no break is forced where the next part still fits."""
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(to_checklist_pdf(*unit))).pages]
    assert min(len(page) for page in pages[:-1]) > 900
    signed = [page for page in pages if words()("sign.title") in page and words()("sign.statement")[:20] in page]
    assert len(signed) == 1
    assert words()("sign.customer") in signed[0]


def test_the_readings_hash_is_on_the_sheet(conforming):
    from guardcheck.report.handover import result_hash

    page = to_checklist_html(*conforming)
    assert all(result_hash(one) in page for one in conforming)


def test_every_quantity_has_words_for_its_family():
    say = words()
    assert {name.split(".")[0] for name in QUANTITIES} <= {
        k.split(".")[1] for k in say.texts if k.startswith("family.")
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
