"""The Python door: what a notebook holds in its hand, what importing costs, and the examples people copy."""

from __future__ import annotations

import doctest
import pickle
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

import guardcheck as gc
from guardcheck import door, pipeline
from guardcheck.errors import InputError
from guardcheck.verdict.claims import leads_of, outcomes_of

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
LEVEL = "LVL01/sync/bare/level.sync"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the job file that `guardcheck new` writes."""
    made = tmp_path_factory.mktemp("bench")
    (made / "mine.toml").write_text(pipeline.new_job_text(), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def result(folder: Path) -> gc.Result:
    return gc.check(str(folder / "mine.toml"), samples=5, events=False, workers=1)


def test_a_finding_is_had_by_its_id(result: gc.Result) -> None:
    finding = result[LEVEL]
    assert isinstance(finding, gc.Finding)
    assert finding.id == LEVEL
    assert finding in result.findings
    assert LEVEL in result
    assert "LVL01/sync/bare/level.blue" not in result
    assert len(result) == len(list(result)) == len(result.findings)


def test_a_wrong_id_names_the_nearest(result: gc.Result) -> None:
    with pytest.raises(KeyError, match=f"no finding 'LVL01/sync/bare/level.sink'; did you mean '{LEVEL}'"):
        result["LVL01/sync/bare/level.sink"]


def test_its_repr_is_one_line_that_counts(result: gc.Result) -> None:
    words = ("does_not_conform", "not_proven", "conforms")
    needed = outcomes_of(result.findings, leads_of(result.schematics))
    fails, opens, holds = (needed.count(word) for word in words)
    assert repr(result) == (
        f"<guardcheck check of DEMO-01: not proven; {fails} does not conform, {opens} not proven, {holds} conform>"
    )


def test_a_saved_result_comes_back_the_same(result: gc.Result, tmp_path: Path) -> None:
    saved = tmp_path / "result.json"
    saved.write_text(result.to_json(), encoding="utf-8")
    again = gc.read_result(saved)
    assert isinstance(again, gc.Result)
    assert again.to_json() == result.to_json()
    assert repr(again) == repr(result)
    assert pickle.loads(pickle.dumps(result)).to_json() == result.to_json()


def test_the_frame_has_one_row_for_each_finding(result: gc.Result) -> None:
    frame = result.to_frame()
    assert list(frame.index) == sorted(one.id for one in result)
    assert frame.loc[LEVEL, "value"] == pytest.approx(result[LEVEL].value, abs=1e-6)  # as it is written: 1 uV
    assert frame.loc[LEVEL, "outcome"] == "conforms"
    assert {"line", "quantity", "unit", "low", "high", "why"} <= set(frame.columns)


def test_without_pandas_the_frame_says_what_to_install(result: gc.Result, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match=r"pip install 'guardcheck\[notebook\]'"):
        result.to_frame()


class Balance(HTMLParser):
    """Counts what is opened and closed, and keeps the text."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "br":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_a_notebook_shows_the_first_screen(result: gc.Result) -> None:
    shown = Balance()
    shown.feed(result._repr_html_())
    assert shown.open == []
    assert "DEMO-01: not proven" in shown.text
    assert "Not proven is not a pass" in shown.text
    assert "touch current" in shown.text
    assert len(result._repr_html_()) < 8_000


def test_the_first_screen_escapes_what_a_job_says(folder: Path) -> None:
    job = (folder / "mine.toml").read_text(encoding="utf-8").replace("DEMO-01", "<b>x</b>")
    (folder / "odd.toml").write_text(job, encoding="utf-8")
    odd = gc.check(folder / "odd.toml", samples=0, events=False, workers=1)
    assert "<b>x</b>" not in odd._repr_html_()
    assert "&lt;b&gt;x&lt;/b&gt;" in odd._repr_html_()


def test_the_same_options_give_the_same_bytes_as_the_command_line(result: gc.Result, folder: Path) -> None:
    from guardcheck.report import to_json

    options = pipeline.Options(samples=5, events=False, workers=1)
    assert to_json(pipeline.check(folder / "mine.toml", options)) == result.to_json()


@pytest.mark.parametrize(("name", "value"), [("samples", -1), ("seed", -2), ("workers", 0)])
def test_a_number_that_cannot_be_is_refused(folder: Path, name: str, value: int) -> None:
    with pytest.raises(InputError, match=f"{name}: {value} is not accepted"):
        gc.check(folder / "mine.toml", **{name: value})  # type: ignore[arg-type]


def test_verify_takes_readings_and_captures_by_line(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    seen: dict[str, object] = {}

    def verify(path: Path, given: pipeline.Given, options: pipeline.Options, progress: object) -> object:
        seen.update(path=path, given=given, options=options)
        return pipeline.check(path, options)

    monkeypatch.setattr(pipeline, "verify", verify)
    found = gc.verify(
        folder / "mine.toml",
        captures={"sync": folder / "scope.csv#2"},
        load={"sync": "open"},
        picture="white",
        coupling="dc",
        accuracy="3%",
        samples=0,
        workers=1,
    )
    assert isinstance(found, gc.Result)
    given = seen["given"]
    assert isinstance(given, pipeline.Given)
    (capture,) = given.captures
    assert (capture.line, capture.path, capture.channel) == ("sync", folder / "scope.csv", "2")
    assert given.word("load", "sync") == "open"
    assert given.word("picture", "sync") == "white"
    assert given.word("coupling", "sync") == "dc"
    with pytest.raises(InputError, match="nothing was measured"):
        gc.verify(folder / "mine.toml")


def test_a_ranking_says_its_best_guard_on_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    from guardcheck.model import Ranked, Ranking

    best = Ranked("schottky-pair", "connector", "Two <diodes>", 2, False, {}, {})
    made = Ranking("BENCH-1", "", ("red",), (), (best,), "It helps.", (), None)
    monkeypatch.setattr(pipeline, "rank_guards", lambda path, options, line, progress: made)
    ranking = gc.rank_guards("job.toml", "red")
    assert repr(ranking) == "<guardcheck guards of BENCH-1, red: 1, best schottky-pair at the connector>"
    assert ranking._repr_html_().startswith("<pre>")
    assert ranking.rows == (best,)


def fresh(code: str) -> str:
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    return ran.stdout.strip()


def test_importing_the_package_loads_nothing_heavy() -> None:
    heavy = "numpy", "pandas", "PySpice", "jinja2", "matplotlib", "typst", "pint", "typer"
    code = f"import sys, guardcheck; print([name for name in {heavy!r} if name in sys.modules])"
    assert fresh(code) == "[]"


def test_the_door_shows_its_names_and_no_others() -> None:
    assert dir(gc) == sorted(gc.__all__, key=dir(gc).index)
    assert {name for name in gc.__all__ if name != "__version__"} == set(door.__all__)
    assert re.fullmatch(r"\d+\.\d+\.\d+", gc.__version__)
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        gc.chek  # noqa: B018
    assert (ROOT / "guardcheck" / "py.typed").is_file()


@pytest.mark.parametrize("text", ["door", "README"])
def test_the_examples_run_as_they_stand(text: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    if text == "door":
        ran = doctest.testmod(door)
    else:
        ran = doctest.testfile(str(README), module_relative=False, optionflags=doctest.ELLIPSIS, encoding="utf-8")
    assert ran.attempted >= 4
    assert ran.failed == 0
