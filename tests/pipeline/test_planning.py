"""A job's lines fitted once: how often a part is fitted, and what the lines of one table share and do not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from guardcheck.job import parse_job, read_job
from guardcheck.library import Library
from guardcheck.model import Fitted, PartUse
from guardcheck.pipeline import Options, check
from guardcheck.simulate.fitting import Fitter
from guardcheck.simulate.planning import JobPlan, plan_job
from tests.pipeline.jobs import line, text

DEMO = Path(__file__).parents[2] / "reports-demo" / "lantern-16" / "job.toml"


@pytest.fixture
def fits(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count the parts that are fitted from here on, by kind; events are fitted one by one from the shelf."""
    counted: Counter[str] = Counter()
    fit = Fitter.fit

    def counting(self: Fitter, use: PartUse, signal: str | None = None) -> Fitted:
        counted[use.kind] += 1
        return fit(self, use, signal)

    monkeypatch.setattr(Fitter, "fit", counting)
    return counted


def planned(job: str, samples: int = 10) -> JobPlan:
    return plan_job(parse_job(job, file="job.toml"), Library.load(), samples=samples, seed=1)


def test_a_check_fits_every_part_of_a_table_once(fits: Counter[str]) -> None:
    """Three colours of one table and one line of its own: two of each part, whatever is simulated afterwards."""
    job = read_job(DEMO)
    tables = len({line.table for line in job.lines})
    guards = len({line.table for line in job.lines if line.has_guard})
    assert (len(job.lines), tables, guards) == (4, 2, 1)
    check(DEMO, Options(samples=2, events=False, workers=1))
    displays = fits.pop("display")
    assert tables <= displays <= tables + 1  # the standard's own, once, where a display is to be swapped for it
    assert fits == {"source": tables, "stage": tables, "guard": guards, "cable": tables}


def test_lines_of_one_table_share_parts_and_draw_their_own_samples() -> None:
    plan = planned(text(line(names="red green", stage_values='series = "75 ohm 5%"')))
    red, green = plan.lines
    assert (red.name, green.name) == ("red", "green")
    assert red.bare.stage is green.bare.stage
    assert red.bare.line == "red"
    assert green.bare.line == "green"
    assert red.builds.n_rows == green.builds.n_rows
    assert not (red.builds.rows[red.builds.samples] == green.builds.rows[green.builds.samples]).any()


def test_a_line_draws_the_same_samples_whatever_stands_beside_it() -> None:
    alone = planned(text(line(names="green", stage_values='series = "75 ohm 5%"'))).line("green")
    beside = planned(text(line(names="red green", stage_values='series = "75 ohm 5%"'))).line("green")
    assert (alone.builds.rows == beside.builds.rows).all()


def test_the_guarded_chain_is_the_bare_one_with_its_guard() -> None:
    (one,) = planned(text(line(guard="silicon-pair"))).lines
    assert one.guarded is not None
    assert [chain.guarded for chain in one.chains] == [False, True]
    assert one.as_built is one.guarded
    assert one.guarded.guard is not None
    assert one.bare.guard is None
    assert one.guarded.source is one.bare.source
    (bare,) = planned(text(line())).lines
    assert bare.chains == (bare.as_built,) == (bare.bare,)
