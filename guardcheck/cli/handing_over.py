"""`checklist` and `compare`: the sheet for the customer, and what changed between two results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from guardcheck.cli.app import (
    OUTCOME_CODES,
    CircuitsOption,
    OutsideOption,
    Progress,
    QuietOption,
    SamplesOption,
    SeedOption,
    SyncOption,
    WorkersOption,
    captured_files,
    check_targets,
)
from guardcheck.errors import InputError, accepted

if TYPE_CHECKING:
    from guardcheck.model import Result
    from guardcheck.pipeline import Options


def checklist(
    job: Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job file; not needed with --result.")] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", help="What was measured, as verify takes it.")
    ] = None,
    capture: Annotated[
        list[str] | None, typer.Option("--capture", metavar="LINE=FILE", help="A scope's CSV of one line.")
    ] = None,
    sync: SyncOption = None,
    result: Annotated[
        Path | None, typer.Option("--result", metavar="JSON", help="A saved check: nothing is simulated again.")
    ] = None,
    verified: Annotated[
        Path | None, typer.Option("--verified", metavar="JSON", help="A saved verify: nothing is simulated again.")
    ] = None,
    html: Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write the sheet as a page.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Write it as a PDF of two pages.")] = None,
    record: Annotated[
        Path | None,
        typer.Option("--record", metavar="FILE", help="Write the technician's record: a PDF, or a page for .html."),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="Paper of the PDF.")] = "a4",
    workshop: Annotated[str, typer.Option(metavar="NAME", help="Whose sheet it is.")] = "",
    blank: Annotated[bool, typer.Option("--blank", help="Write the empty bench sheet to fill in instead.")] = False,
    seed: SeedOption = 1,
    samples: SamplesOption = 200,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    quiet: QuietOption = False,
) -> None:
    """Write the hand-over sheet: what was done, simulated, measured, and what nobody has proven."""
    from guardcheck import pipeline, report

    if html is None and pdf is None and record is None:
        raise InputError("say where the sheet goes: --html FILE, --pdf FILE, --record FILE", key="checklist")
    _one_of(verified, readings, capture, sync)
    if paper not in report.PAPERS:
        raise InputError(f"no paper '{paper}'; accepted: {accepted(report.PAPERS)}", key="--paper")
    options = pipeline.Options(
        seed=seed, samples=samples, workers=workers, allow_outside=allow_outside, circuits=circuits
    )
    named = () if job is None else pipeline.files_named(job, options)
    check_targets((html, pdf, record), (*named, readings, result, verified, *captured_files(capture)))
    if blank:
        raise typer.Exit(_blank(job, html, pdf, paper, options))
    progress = Progress(quiet)
    saved = {file: report.read_result(file) for file in (result, verified) if file is not None}
    jobs = {file: job or _beside(file, one) for file, one in saved.items()}
    check_targets((html, pdf, record), tuple(at for at in jobs.values() if at is not None))
    for file, at in jobs.items():
        if at is not None:
            pipeline.require_same_job(at, saved[file], file, options)
    plan = saved[result] if result is not None else pipeline.check(_needed(job), options, progress)
    measured: Result | None = None
    if verified is not None:
        measured = saved[verified]
    elif readings is not None or capture:
        measured = pipeline.verify(_needed(job), pipeline.given(readings, capture or (), sync=sync), options, progress)
    progress(1, 1, "")
    if html is not None:
        report.write_text(html, report.to_checklist_html(plan, measured, workshop=workshop))
    if pdf is not None:
        report.write_bytes(pdf, report.to_checklist_pdf(plan, measured, paper=paper, workshop=workshop))
    if record is not None and record.suffix.casefold() in (".html", ".htm"):
        report.write_text(record, report.to_record_html(plan, measured, workshop=workshop))
    elif record is not None:
        report.write_bytes(record, report.to_record_pdf(plan, measured, paper=paper, workshop=workshop))
    outcome = report.evidence(plan, measured).outcome
    wrote = " and ".join(str(path) for path in (html, pdf, record) if path)
    unseen = "; job file not at hand: nobody has looked whether it changed since" if None in jobs.values() else ""
    typer.echo(f"{outcome.replace('_', ' ')}: wrote {wrote}{unseen}")
    raise typer.Exit(OUTCOME_CODES[outcome])


def _beside(saved: Path, result: Result) -> Path | None:
    """Return the job file a saved result names, where one lies beside it."""
    name = Path(result.job_file).name
    return saved.parent / name if name and (saved.parent / name).is_file() else None


def _one_of(verified: Path | None, *measured: object) -> None:
    if verified is not None and any(measured):
        problem = "readings and captures are judged anew; give these or a saved verify, not both"
        raise InputError(problem, key="--verified")


def _needed(job: Path | None) -> Path:
    if job is None:
        raise InputError("name the job file, or a saved result with --result", key="checklist")
    return job


def _blank(job: Path | None, html: Path | None, pdf: Path | None, paper: str, options: Options) -> int:
    from guardcheck import pipeline, report

    if html is None and pdf is None:
        raise InputError(
            "say where the bench sheet goes: --html FILE for the browser, --pdf FILE for a pen", key="--blank"
        )
    bench = pipeline.Bench() if job is None else pipeline.bench_of(job, options)
    given = {
        "unit": bench.unit,
        "unit_kind": bench.unit_kind,
        "loads": bench.loads,
        "expected": bench.expected,
        "drawn": bench.drawn,
    }
    if html is not None:
        report.write_text(html, report.to_bench_sheet(bench.lines, **given))
    if pdf is not None:
        report.write_bytes(pdf, report.to_bench_sheet_pdf(bench.lines, paper=paper, **given))
    typer.echo(f"wrote {' and '.join(str(path) for path in (html, pdf) if path)}")
    return 0


def compare(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="A saved result (--json).")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="A later one of the same unit.")],
) -> None:
    """Say what changed between two saved results; the exit code tells whether something got worse."""
    from guardcheck import report

    first, later = report.read_result(before), report.read_result(after)
    typer.echo(report.compare(first, later), nl=False)
    raise typer.Exit(OUTCOME_CODES[report.worsened(first, later)])
