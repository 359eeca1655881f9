"""The page: valid, self-contained, accessible, and deaf to what a job file tries to say in HTML.

What is checked follows WCAG 2.1 (1.1.1 text alternatives, 1.3.1 structure, 1.4.1 not by colour alone, 1.4.3 contrast,
2.1.1 keyboard, 2.4.1 skip link, 2.4.2 title, 3.1.1 language) and the HTML standard's rule that ids are unique.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from guardcheck.model import CONFORMS, KNOWN_BY, NOT_PROVEN, CircuitUsed, Finding, Result
from guardcheck.report import to_html
from guardcheck.report.arrange.overview import overview
from guardcheck.report.arrange.view import outcome_word
from guardcheck.report.page import result as page
from guardcheck.report.pictures import svg

VOID = {"meta", "br", "link", "img", "hr", "input"}


@dataclass
class Node:
    tag: str
    attributes: dict[str, str | None]
    children: list[Node | str] = field(default_factory=list)

    def walk(self) -> Iterator[Node]:
        yield self
        for child in self.children:
            if isinstance(child, Node):
                yield from child.walk()

    def all(self, *tags: str) -> list[Node]:
        return [node for node in self.walk() if node.tag in tags]

    @property
    def text(self) -> str:
        return " ".join("".join(c if isinstance(c, str) else f" {c.text} " for c in self.children).split())


class Tree(HTMLParser):
    """Builds a tree and fails on any element that is not closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("document", {})
        self.open = [self.root]
        self.declaration = ""
        self.feed(text)
        self.close()
        assert [node.tag for node in self.open] == ["document"]

    def handle_decl(self, decl: str) -> None:
        self.declaration = decl

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(dict(attrs)) == len(attrs)
        node = Node(tag, dict(attrs))
        self.open[-1].children.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop().tag == tag

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


@pytest.fixture(scope="module")
def html(result: Result) -> str:
    return to_html(result)


@pytest.fixture(scope="module")
def hostile_html(hostile: Result) -> str:
    return to_html(hostile)


@pytest.fixture(scope="module", params=["html", "hostile_html"])
def root(request: pytest.FixtureRequest) -> Node:
    tree = Tree(request.getfixturevalue(request.param))
    assert tree.declaration == "DOCTYPE html"
    return tree.root


def test_language_title_and_landmarks(root: Node) -> None:
    assert root.all("html")[0].attributes["lang"] == "en"
    assert [len(root.all(tag)) for tag in ("head", "header", "nav", "main", "footer", "h1")] == [1] * 6
    assert "does not conform" in root.all("title")[0].text
    assert root.all("nav")[0].attributes["aria-label"] == "Contents"


def test_headings_never_skip_a_level(root: Node) -> None:
    levels = [int(node.tag[1]) for node in root.walk() if re.fullmatch(r"h[1-6]", node.tag)]
    assert levels[0] == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_ids_are_unique_and_every_reference_lands(root: Node) -> None:
    ids = [node.attributes["id"] for node in root.walk() if "id" in node.attributes]
    assert len(ids) == len(set(ids))
    for node in root.walk():
        for name in (node.attributes.get("aria-labelledby") or "").split():
            assert name in ids
        target = node.attributes.get("href")
        assert target is None or (target.startswith("#") and target[1:] in ids)
        for value in node.attributes.values():
            assert all(name in ids for name in re.findall(r"url\(#([^)]+)\)", value or ""))


def test_tables_have_captions_and_scoped_headers(root: Node) -> None:
    tables = root.all("table")
    assert len(tables) >= 4
    for table in tables:
        assert table.all("caption")[0].text
        assert all(head.attributes.get("scope") in ("col", "row", "rowgroup") for head in table.all("th"))
        width = len(table.all("thead")[0].all("th"))
        for line in [row for body in table.all("tbody") for row in body.all("tr")]:
            cells = line.all("th", "td")
            assert cells[0].tag == "th"
            assert sum(int(cell.attributes.get("colspan") or 1) for cell in cells) == width


def test_scrolling_regions_are_named_and_reached_by_keyboard(root: Node) -> None:
    regions = [node for node in root.all("div") if node.attributes.get("class") == "scroll"]
    assert len(regions) == len(root.all("table"))
    for region in regions:
        assert region.attributes["tabindex"] == "0"
        assert region.attributes["role"] == "region"
        assert region.attributes["aria-labelledby"]
    skip = next(node for node in root.walk() if node.tag == "a")
    assert skip.attributes["href"] == "#content"
    assert root.all("main")[0].attributes["id"] == "content"


def test_pictures_say_what_they_show(root: Node) -> None:
    pictures = [one for one in root.all("svg") if one.attributes.get("aria-hidden") != "true"]
    assert len(pictures) >= 3
    for picture in pictures:
        assert picture.attributes["role"] == "img"
        assert re.search(r"\d", picture.all("desc")[0].text)
        assert picture.all("title")[0].text
    drawn = [one for one in pictures if one.attributes.get("class") == "line-drawn"]
    assert len(root.all("figure")) == len(root.all("figcaption")) == len(pictures) - len(drawn)


def test_nothing_is_loaded_and_nothing_runs(root: Node) -> None:
    assert not root.all("script", "iframe", "object", "embed", "link", "base", "form", "img", "foreignobject")
    for node in root.walk():
        assert not [name for name in node.attributes if name.startswith("on") or name in ("src", "srcset", "action")]
    styles = "".join(node.text for node in root.all("style"))
    assert "@import" not in styles
    assert "url(" not in styles
    policy = next(n for n in root.all("meta") if n.attributes.get("http-equiv") == "Content-Security-Policy")
    assert (policy.attributes["content"] or "").startswith("default-src 'none'")


def test_hostile_text_stays_text(hostile_html: str) -> None:
    root = Tree(hostile_html).root
    body = root.all("body")[0].text
    assert "<script>alert(1)</script> [31mred[0m evil $\\frac{1}{ &amp; \"q\" 'q' {{ 7*7 }}" in body
    assert "49" not in root.all("title")[0].text
    assert not [c for c in hostile_html if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs")]


def test_outcome_comes_first_then_what_to_do_then_what_is_open(html: str) -> None:
    root = Tree(html).root
    heads = [node.text for node in root.all("h2")]
    assert heads[:5] == ["The three questions", "Do, in this order", "Ask, then run again", "What to do", "Not proven"]
    assert heads[6:12] == [
        "At a glance", "red ? not proven", "green ✓ conforms", "blue ✓ conforms", "sync ✕ does not conform",
        "The unit as a whole ? not proven",
    ]  # fmt: skip
    banner = next(n for n in root.all("div") if n.attributes.get("class") == "verdict does_not_conform")
    assert banner.text.startswith("✕ STOP: DOES NOT CONFORM. The picture will not be right.")
    assert "Of 22 checks 1 does not conform" in banner.text
    first = root.all("ol")[0].all("li")[0].text
    assert first.startswith("sync: The display is not terminated: switch its 75-ohm termination on")
    told = root.all("ol")[1].all("li")[0].text
    assert told == (
        "The display is not terminated: switch its 75-ohm termination on or fit a 75-ohm terminator. "
        "✕ does not conform sync: bare sync amplitude"
    )


def test_every_open_check_gives_its_reason(html: str, result: Result) -> None:
    section = next(n for n in Tree(html).root.all("section") if n.attributes.get("aria-labelledby") == "open")
    for finding in result.findings:
        if finding.outcome == NOT_PROVEN:
            assert finding.why.removeprefix("Not proven: ")[1:] in section.text
    assert "A short of the output for longer than a minute was not simulated." in section.text
    assert "240 ohm is above the usual range" in section.text


def rows_of(root: Node, caption: str) -> list[list[str]]:
    table = next(t for t in root.all("table") if t.all("caption")[0].text == caption)
    return [[cell.text for cell in line.all("th", "td")] for line in table.all("tr")]


def test_a_row_shows_both_states_with_limits_and_reason(html: str) -> None:
    rows = rows_of(Tree(html).root, "green: Levels, response and guard")
    assert rows[0] == ["Quantity", "Limits", "Bare", "Guarded", "Outcome", "Why, and what to do"]
    assert rows[1] == [
        "white level levels",
        "496 to 989 mV",
        "706 mV worst case 682 to 724 mV 95 % of builds 689 to 717 mV 100 % of builds inside ✓ conforms",
        "703 mV worst case 682 to 724 mV 95 % of builds 689 to 717 mV 100 % of builds inside ✓ conforms",
        "✓ conforms",
        "The whole worst case lies inside the limits.",
    ]
    impedance = next(row for row in rows if row[0].startswith("output impedance"))
    assert impedance[1] == f"61.4 to 91.7 ohm {KNOWN_BY['practice']}"


def test_events_stand_in_order_of_severity_with_the_margin_first(html: str) -> None:
    folds = [node.all("h3")[0].text for node in Tree(html).root.all("details") if node.all("h3")]
    assert "hot-plug, first contact" in folds
    rows = rows_of(Tree(html).root, "red: hot-plug, re-contact")
    assert rows[1][0] == "margin stress"
    spark = rows_of(Tree(html).root, "red: esd-contact, 15 kV")
    assert spark[1][4] == "✕ does not conform for information"
    assert spark[1][2] == "about -31 dB ✕ does not conform"


def test_sources_say_how_each_limit_is_known(html: str) -> None:
    rows = rows_of(Tree(html).root, "Every limit used, and how it is known")
    found = {row[0]: row[1:] for row in rows[1:]}
    assert found["DC at blanking"] == [
        "0 to 2 V", "red, green, blue, sync", "Invented standard 1, 2nd edition", "from memory, unverified",
    ]  # fmt: skip
    assert found["output impedance"][3] == "common practice, no published source"
    assert found["touch current"][3] == "from memory, unverified"
    assert found["sync amplitude"][3] == "read in the reference named"


def test_files_are_named_with_their_hashes(html: str, result: Result) -> None:
    rows = rows_of(Tree(html).root, "Circuits and files used")
    for used in result.circuits:
        assert [used.name, used.kind, used.file, used.sha256] in rows
    assert result.job_sha256 in Tree(html).root.all("footer")[0].text


def test_same_result_same_bytes_and_no_date(html: str, result: Result) -> None:
    assert to_html(result) == html
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b", html)


def test_an_empty_result_is_a_page_too(result: Result, make_finding: Callable[..., Finding]) -> None:
    bare = Result("verify", "U", "", NOT_PROVEN, 1, 0, None, (), (CircuitUsed("a", "stage", "b", "c"),))
    root = Tree(to_html(bare)).root
    assert "No needed check has an answer." in root.text
    assert root.all("h1")[0].text == "U"
    assert root.all("header")[0].text.startswith("Verification of the finished mod")
    fine = make_finding("LVL01", "level.white", "red", False, 0.7, outcome=CONFORMS, needed=True)
    text = Tree(to_html(replace(bare, findings=(fine,), outcome=CONFORMS))).root.text
    assert "No needed check asks for a change." in text
    assert "No check was left open." in text


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1, definition of the term."""
    channels = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.1, definition of the term."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_text_contrast_is_at_least_4_5(html: str) -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # the ratio's stated maximum
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", html))
    for ink in ("ink", "soft", "accent", "good", "bad", "open"):
        for ground in ("paper", "tint"):
            assert contrast(colours[ink], colours[ground]) >= 4.5
    for ink in (svg.INK, svg.SOFT, svg.GUARDED, svg.BARE):
        for ground in ("#ffffff", svg.BAND):
            assert contrast(ink, ground) >= 4.5
    used = set(re.findall(r"[^-]color: (?:var\(--)?([#a-z0-9]+)", html))
    assert used <= {"ink", "soft", "accent", "good", "bad", "open", "paper", "inherit"}


def test_templates_never_switch_escaping_off() -> None:
    rooms = Path(page.__file__).parents[1]
    texts = {one.name: one.read_text(encoding="utf-8") for one in rooms.rglob("*.html")}
    assert len(texts) >= 6
    for text in texts.values():
        assert "|safe" not in text
        assert "autoescape" not in text
    assert texts["page.html"].count("|picture") == 1


def test_events_at_a_glance_hold_every_margin_in_words(result: Result) -> None:
    """One row per event and severity, one column for lines alike; bare before guarded, each with sign and word."""
    page = to_html(result)
    found = re.search(r'<table class="strain">.*?</table>', page, re.DOTALL)
    assert found is not None
    table = found.group()
    margins = [one for one in result.findings if one.quantity == "event.margin" and one.event and one.line]
    assert table.count('<th scope="row">') == len({(one.event, one.severity) for one in margins})
    heads = re.findall(r'<th scope="col">([^<]*)</th>', table)
    assert heads[0] == "Event"
    assert sorted(line for head in heads[1:] for line in head.split(", ")) == sorted({one.line for one in margins})
    assert "<caption" in table
    words = re.sub(r"<[^>]+>", "", table.replace("&nbsp;", " "))
    for one in margins:
        assert outcome_word(one.outcome) in words
    assert "bare" in words.split("guarded")[0]


def test_lines_with_the_same_margins_share_a_column(make_finding: Callable[..., Finding], result: Result) -> None:
    rows = tuple(
        make_finding("EVT01", "event.margin", line, guarded, value, event="hot-plug", severity="first contact")
        for line, value in (("red", -30.0), ("green", -30.0), ("sync", 3.0))
        for guarded in (False, True)
    )
    found = overview(replace(result, findings=rows))
    assert found is not None
    assert found.columns == ("red, green", "sync")
    assert [cell[0].value for cell in found.rows[0].cells] == ["-30 dB", "3 dB"]
    assert [one.state for one in found.rows[0].cells[0]] == [False, True]


def test_without_events_there_is_no_such_table(result: Result) -> None:
    page = to_html(replace(result, findings=tuple(one for one in result.findings if one.event is None)))
    assert 'id="strain"' not in page
    assert "#strain" not in page
