"""Pictures: repeatable, self-contained SVG for any curve, and thinning that loses no spike."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from guardcheck.model import Curve, Result
from guardcheck.report import drawings, to_json
from guardcheck.report.pictures.curves import MOST_POINTS, panels, tidy

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def files(result: Result) -> dict[str, str]:
    return drawings(result)


def only(result: Result, *curves: Curve) -> dict[str, str]:
    return drawings(replace(result, curves=curves))


def test_one_file_per_line_and_kind(files: dict[str, str]) -> None:
    names = list(files)
    assert names[:3] == ["red-waveform.svg", "red-response.svg", "red-samples.svg"]
    assert len(names) == 12


def test_files_stand_alone(files: dict[str, str]) -> None:
    for text in files.values():
        root = ElementTree.fromstring(text)
        assert root.tag == f"{SVG}svg"
        assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
        assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
        assert len(text) < 40_000
        ids = re.findall(r' id="([^"]+)"', text)
        assert len(ids) == len(set(ids))
        assert set(re.findall(r'(?:url\(|href=")#([^)"]+)', text)) <= set(ids)


def test_band_and_states_are_drawn_and_named(files: dict[str, str]) -> None:
    root = ElementTree.fromstring(files["green-waveform.svg"])
    words = [node.text for node in root.iter(f"{SVG}text")]
    for word in ("limits of white", "bare", "guarded", "level in V", "time in µs"):
        assert word in words
    assert root.find(f".//{SVG}pattern") is not None  # the band is hatched, not only tinted
    dashed = [node for node in root.iter(f"{SVG}path") if "stroke-dasharray" in node.get("style", "")]
    assert dashed
    described = root.find(f"{SVG}desc")
    assert described is not None
    assert described.text == "bare from 0 V to 703 mV; limits of white: 496 to 989 mV; guarded from 0 V to 699 mV"


def test_histogram_counts_every_sample_and_writes_the_limits(files: dict[str, str]) -> None:
    root = ElementTree.fromstring(files["green-samples.svg"])
    words = [node.text for node in root.iter(f"{SVG}text")]
    assert "at least 496 mV" in words
    assert "at most 989 mV" in words
    assert "samples per bar" in words


def test_response_axis_speaks_in_decades(files: dict[str, str]) -> None:
    root = ElementTree.fromstring(files["green-response.svg"])
    words = [node.text for node in root.iter(f"{SVG}text")]
    assert [w for w in words if w and w.endswith("Hz")] == ["1 kHz", "10 kHz", "100 kHz", "1 MHz", "10 MHz", "100 MHz"]
    assert "gain in dB" in words


def test_a_doubtful_limit_is_remarked_under_the_picture(result: Result) -> None:
    from guardcheck.report.pictures.panels import drawn

    few = replace(result, curves=result.curves[:1])
    assert [picture.caption for picture in drawn(few)] == ["One scan line at the display."]
    doubtful = tuple(
        replace(f, limit=replace(f.limit, known_by="recalled")) if f.limit and f.quantity == "level.white" else f
        for f in result.findings
    )
    (picture,) = drawn(replace(few, findings=doubtful))
    assert picture.caption == "One scan line at the display. Limit: from memory, unverified."


def test_bytes_do_not_depend_on_process_hash_or_settings(result: Result, files: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "matplotlibrc").write_text("lines.linewidth: 9\nfont.size: 30\nsvg.fonttype: path\naxes.grid: True\n")
    saved = tmp_path / "result.json"
    saved.write_text(to_json(result), encoding="utf-8")
    code = (
        "import sys, pathlib; from guardcheck import report; "
        "r = report.from_json(pathlib.Path(sys.argv[1]).read_text(encoding='utf-8')); "
        "sys.stdout.buffer.write(repr(sorted(report.drawings(r).items())).encode())"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "MATPLOTLIBRC": str(tmp_path), "TZ": "Pacific/Kiritimati"}
    run = subprocess.run([sys.executable, "-c", code, str(saved)], env=environment, capture_output=True, check=True)
    assert run.stdout.decode() == repr(sorted(files.items()))


def test_a_kind_nobody_knows_is_drawn_plainly(result: Result) -> None:
    curve = Curve("red", None, "../later", "x", np.arange(3.0), np.arange(3.0), "s", "A")
    ((name, text),) = only(result, curve).items()
    assert name == "red-later.svg"
    assert "value in A" in text


@pytest.mark.parametrize("picture", ["waveform", "response", "samples", "event"])
@pytest.mark.parametrize(
    ("x", "y"),
    [
        ([], []),
        ([1.0], [1.0]),
        ([1.0, 1.0], [2.0, 2.0]),
        ([np.nan, np.inf], [np.nan, -np.inf]),
        ([0.0, -1.0, 1e300], [1e300, -1e300, 5e-324]),
        ([1.0, 1.0 + 1e-15], [1.0, 1.0 + 1e-15]),
        ([1.0, 2.0], []),
        ([1e-320, 1e17], [1e-320, 1e17]),
    ],
)
def test_degenerate_curves_give_a_picture(result: Result, picture: str, x: list[float], y: list[float]) -> None:
    curve = Curve(
        "l", True, picture, "", np.array(x), np.array(y), "s", "V", (None, 1e308), "b", {"m": 1e308, "n": 1.0}
    )
    ((_, text),) = only(result, curve).items()
    assert ElementTree.fromstring(text).tag == f"{SVG}svg"


NUMBERS = st.floats(allow_nan=True, allow_infinity=True)


@settings(derandomize=True, deadline=None, database=None, max_examples=25)
@given(
    picture=st.sampled_from(["waveform", "response", "samples"]),
    x=hnp.arrays(float, 12, elements=NUMBERS),
    y=hnp.arrays(float, 12, elements=NUMBERS),
    low=st.none() | NUMBERS,
    label=st.text(max_size=12),
)
def test_any_curve_gives_a_picture(picture: str, x: np.ndarray, y: np.ndarray, low: float | None, label: str) -> None:
    curve = Curve(label or "l", False, picture, label, x, y, "Hz", "1", (low, None), label, {label: 3.0})
    result = Result("check", "U", "", "not_proven", 1, 0, None, (), (), curves=(curve,))
    ((name, text),) = drawings(result).items()
    assert re.fullmatch(r"[a-z0-9-]+\.svg", name)
    assert ElementTree.fromstring(text).tag == f"{SVG}svg"


def test_thinning_keeps_the_spike_and_settles(result: Result) -> None:
    x = np.linspace(0.0, 1.0, 1_000_000)
    y = np.sin(40 * x)
    y[123_457], y[777_777] = 9.0, -9.0
    thin = tidy(Curve("red", None, "waveform", "", x, y, "s", "V"))
    assert len(thin.x) <= MOST_POINTS
    assert (thin.y.max(), thin.y.min()) == (9.0, -9.0)
    assert (thin.x[0], thin.x[-1]) == (0.0, 1.0)
    again = tidy(thin)
    assert np.array_equal(again.x, thin.x)
    assert np.array_equal(again.y, thin.y)


def test_samples_are_never_thinned() -> None:
    curve = Curve("red", None, "samples", "", np.linspace(0, 1, 10_000), np.zeros(0), "V", "builds")
    assert len(tidy(curve).x) == 10_000


def test_bare_and_guarded_share_axes_whatever_their_label_says() -> None:
    point = np.array([1.0])
    made = [
        Curve("red", s, "event", w, point, point, "s", "V") for s, w in ((True, "pin (guarded)"), (False, "bare pin"))
    ]
    (panel,) = panels(made)
    assert panel.subject == "pin"
    assert [curve.guarded for curve in panel.curves] == [False, True]
    apart = panels([*made, Curve("red", True, "event", "pin current, guarded", point, point, "s", "A")])
    assert [panel.subject for panel in apart] == ["pin", "pin current"]


def test_ratings_of_an_event_lie_across_with_their_names(result: Result) -> None:
    """A rating is a value of y: its line runs the whole width at one height, and the higher rating lies higher."""
    curve = Curve(
        "red", False, "event", "hot-plug, first contact: pin current",
        np.array([0.0, 1e-6, 2e-6]), np.array([0.0, 0.05, 0.0]), "s", "A",
        marks={"clamp rating": 0.02, "clamp rating, out": -0.02},
    )  # fmt: skip
    (text,) = only(result, curve).values()
    root = ElementTree.fromstring(text)
    strokes = [
        [float(number) for number in re.findall(r"-?\d+\.?\d*", node.get("d", ""))]
        for node in root.iter(f"{SVG}path")
        if "stroke-dasharray" in node.get("style", "")
    ]
    lying = sorted(
        {points[1] for points in strokes if len(points) == 4 and points[1] == points[3] and points[2] - points[0] > 300}
    )
    assert len(lying) == 2
    heights = {
        node.text: float(node.get("y") or re.findall(r"-?\d+\.?\d*", node.get("transform", ""))[1])
        for node in root.iter(f"{SVG}text")
        if node.text in curve.marks
    }
    assert heights["clamp rating"] < lying[0] < lying[1] < heights["clamp rating, out"]


def test_drawing_asks_the_machine_for_no_font_and_leaves_nothing_in_a_home(tmp_path: Path) -> None:
    home, programs = tmp_path / "home", tmp_path / "programs"
    home.mkdir()
    programs.mkdir()
    asked = tmp_path / "asked"
    listing = programs / "fc-list"
    listing.write_text(f"#!/bin/sh\ntouch {asked}\n", encoding="utf-8")
    listing.chmod(0o755)
    script = (
        "from guardcheck.report.pictures import svg\n"
        "print(len(svg.draw(lambda axes: axes.set_xlabel('time'), title='t', description='d', prefix='p')))\n"
        "from matplotlib.font_manager import fontManager\n"
        "print(all('mpl-data' in font.fname for font in fontManager.ttflist))\n"
    )
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "MPL"))}
    ran = subprocess.run(
        [sys.executable, "-c", script],
        env={**kept, "HOME": str(home), "PATH": f"{programs}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        check=True,
    )
    size, own_fonts = ran.stdout.split()
    assert int(size) > 500
    assert own_fonts == "True"
    assert not asked.exists()
    assert list(home.iterdir()) == []
    assert ran.stderr == ""
