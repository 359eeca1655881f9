"""Change one operator, constant or comparison of the code at a time, and see whether a test notices: `make mutate`.

Kept tools cost more than they give here: mutmut 3 copies the tree and rewrites every function into trampolines,
cosmic-ray starts a process a mutant; both take seconds before the first assertion. One warm process forks for every
mutant instead, the changed module is compiled in the child, and only the tests named for it in ``targets.toml`` run. A
mutant that no test notices counts against the run unless ``survivors.toml`` gives the reason why it may live.

``python -m tests.mutation.run [--sample N] [--only PART-OF-PATH] [--seed S] [--list]``
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import importlib.abc
import importlib.util
import io
import os
import random
import signal
import sys
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
LEAST_KILLED = 0.90
TIMEOUT = 120
"""Seconds after which a mutant counts as noticed: an endless loop fails every run."""

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
REPLACED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
}
SWAPPED = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    """One change: the file and function it stands in, what it does, and what is put in place of which node."""

    path: str
    function: str
    line: int
    change: str
    index: int
    new: ast.AST

    @property
    def key(self) -> str:
        """What names this mutant in ``survivors.toml``: no line numbers, so that it outlives edits elsewhere."""
        return f"{self.path}:{self.function}: {self.change}"

    def tree(self) -> ast.Module:
        """Return the changed module; made when it is run, since a sample takes few of the thousands there are."""
        tree = ast.parse((ROOT / self.path).read_text(encoding="utf-8"))
        _replace(tree, self.index, self.new)
        return ast.fix_missing_locations(tree)


def mutants_of(path: Path) -> list[Mutant]:
    """Return every mutant of one file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    name = path.relative_to(ROOT).as_posix()
    return [
        Mutant(name, function, getattr(node, "lineno", 0), change, index, new)
        for function, index, node in _sites(tree)
        for change, new in _changes(node)
    ]


def _walk(tree: ast.Module) -> Iterator[tuple[str, ast.AST]]:
    """Yield every node with the name of the function it stands in; annotations and docstrings are left out."""

    def visit(node: ast.AST, where: str) -> Iterator[tuple[str, ast.AST]]:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            where = node.name if where == "module" else f"{where}.{node.name}"
        yield where, node
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "decorator_list", "type_params"):
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from visit(child, where)

    yield from visit(tree, "module")


def _code(tree: ast.Module) -> ast.Module:
    """Return a module without the worked cases a rule ends with and what only they use: they are tests, not code."""
    named = {name: node for node in tree.body for name in _defined(node)}
    if "CASES" not in named:
        return tree
    todo, kept = [name for name in named if not name.startswith("_") and name != "CASES"], set()
    while todo:
        name = todo.pop()
        if name in named and name not in kept:
            kept.add(name)
            todo += [one.id for one in ast.walk(named[name]) if isinstance(one, ast.Name)]
    return ast.Module([node for node in tree.body if kept.intersection(_defined(node)) or not _defined(node)], [])


def _defined(node: ast.stmt) -> tuple[str, ...]:
    """Return the names a statement of a module defines."""
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return (node.name,)
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return tuple(one.id for one in targets if isinstance(one, ast.Name))


def _sites(tree: ast.Module) -> Iterator[tuple[str, int, ast.AST]]:
    code = {id(node) for _, node in _walk(_code(tree))} - {id(node) for node in _defaults(tree)}
    for index, (where, node) in enumerate(_walk(tree)):
        if id(node) in code:
            yield where, index, node


def _defaults(tree: ast.Module) -> Iterator[ast.AST]:
    """Yield the zeros of ``x or 0.0``: they stand there for the type checker, where x is never missing."""
    for node in ast.walk(tree):
        if isinstance(node, ast.BoolOp) and isinstance(node.op, ast.Or):
            last = node.values[-1]
            if isinstance(last, ast.Constant) and last.value == 0:
                yield last


def _replace(tree: ast.Module, index: int, new: ast.AST) -> None:
    """Put `new` in the place of the node at `index` of the walk, in place: nodes are rewritten by their fields."""
    for at, (_, node) in enumerate(_walk(tree)):
        if at == index:
            node.__class__ = new.__class__
            node.__dict__.clear()
            node.__dict__.update(copy.deepcopy(new).__dict__)
            return


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    text = ast.unparse(node) if isinstance(node, ast.expr) else ""
    if isinstance(node, ast.Compare) and len(node.ops) >= 1:
        for at, op in enumerate(node.ops):
            for other in COMPARED.get(type(op), ()):
                ops = [*node.ops[:at], other(), *node.ops[at + 1 :]]
                new = ast.Compare(node.left, ops, node.comparators)
                yield f"{text} -> {ast.unparse(new)}", new
    elif isinstance(node, ast.BinOp) and type(node.op) in REPLACED and not _textual(node):
        new_op = ast.BinOp(node.left, REPLACED[type(node.op)](), node.right)
        yield f"{text} -> {ast.unparse(new_op)}", new_op
    elif isinstance(node, ast.BoolOp):
        other_op = ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        yield f"{text} -> {ast.unparse(other_op)}", other_op
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield f"{text} -> {ast.unparse(node.operand)}", node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield f"{text} -> {not node.value}", ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        value = node.value + 1 if isinstance(node.value, int) else (node.value * 1.5 if node.value else 1.0)
        yield f"{text} -> {value!r}", ast.Constant(value)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SWAPPED:
        new_call = ast.Call(ast.Name(SWAPPED[node.func.id], ast.Load()), node.args, node.keywords)
        yield f"{text} -> {ast.unparse(new_call)}", new_call


def _textual(node: ast.BinOp) -> bool:
    """Tell whether an operation joins text: what a sentence says is held by other tests."""
    return any(
        isinstance(part, ast.JoinedStr) or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in ast.walk(node)
    )


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from a changed tree."""

    def __init__(self, mutant: Mutant) -> None:
        """Take the mutant whose module is to be loaded changed."""
        parts = Path(mutant.path).with_suffix("").parts
        self.name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        self.file = str(ROOT / mutant.path)
        self.tree = mutant.tree()

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> ModuleSpec | None:
        """Return the spec of the changed module, None for every other."""
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.file, loader=self)

    def create_module(self, spec: ModuleSpec) -> None:
        """Leave it to Python."""

    def exec_module(self, module: ModuleType) -> None:
        """Run the changed tree."""
        exec(compile(self.tree, self.file, "exec"), module.__dict__)


def noticed(mutant: Mutant | None, tests: Sequence[str]) -> bool:
    """Tell whether a test fails with the mutant in place (None: with the code as it stands)."""
    child = os.fork()
    if child == 0:
        os.setsid()
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        code = 99
        with contextlib.suppress(BaseException):
            if mutant is not None:
                sys.meta_path.insert(0, Changed(mutant))
            code = _pytest(tests)
        os._exit(0 if code == 0 else 1)
    until = time.monotonic() + TIMEOUT
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) != 0
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def _pytest(tests: Sequence[str]) -> int:
    import pytest

    options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "--tb=no"]
    with contextlib.redirect_stdout(io.StringIO()):
        return int(pytest.main([*options, *tests]))


def _warm() -> None:
    """Import what tests need and no mutant changes, so that a fork starts in milliseconds."""
    for name in ("numpy", "scipy.stats", "scipy.optimize", "pytest", "pint"):
        importlib.import_module(name)


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main() -> int:
    """Run the mutants and say what survived."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=0, help="so many mutants, spread over the files (0: all)")
    parser.add_argument("--only", default="", help="only files whose path contains this")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--list", action="store_true", help="print the mutants and stop")
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    rows = tomllib.loads((HERE / "targets.toml").read_text(encoding="utf-8"))["target"]
    pool: list[tuple[Mutant, tuple[str, ...]]] = []
    for row in rows:
        for path in sorted(ROOT.glob(row["code"])):
            if given.only in path.as_posix():
                pool += [(one, tuple(row["tests"])) for one in mutants_of(path)]
    if given.sample and given.sample < len(pool):
        pool = sorted(random.Random(given.seed).sample(pool, given.sample), key=lambda pair: pair[0].key)
    if given.list:
        _say("\n".join(one.key for one, _ in pool))
        return 0
    excused = tomllib.loads((HERE / "survivors.toml").read_text(encoding="utf-8")).get("survivor", [])
    reasons = {row["mutant"]: row["reason"] for row in excused}
    _warm()
    for tests in sorted({tests for _, tests in pool}):
        if noticed(None, tests):
            _say(f"these tests fail without any change, so they can notice none: {' '.join(tests)}")
            return 1
    return _report(pool, _run(pool, given.workers), reasons)


def _run(pool: Sequence[tuple[Mutant, tuple[str, ...]]], workers: int) -> list[bool]:
    """Return for every mutant whether it was noticed, `workers` at a time."""
    from concurrent.futures import ThreadPoolExecutor

    done = 0

    def one(pair: tuple[Mutant, tuple[str, ...]]) -> bool:
        nonlocal done
        killed = noticed(*pair)
        done += 1
        if not killed:
            _say(f"[{done}/{len(pool)}] line {pair[0].line}: {pair[0].key}")
        return killed

    with ThreadPoolExecutor(workers) as threads:
        return list(threads.map(one, pool))


def _report(pool: Sequence[tuple[Mutant, tuple[str, ...]]], killed: Sequence[bool], reasons: dict[str, str]) -> int:
    by_file: dict[str, list[bool]] = {}
    for (mutant, _), dead in zip(pool, killed, strict=True):
        by_file.setdefault(mutant.path, []).append(dead)
    for path, results in sorted(by_file.items()):
        _say(f"{path:60} {sum(results):4} of {len(results):4} noticed")
    survivors = [one for (one, _), dead in zip(pool, killed, strict=True) if not dead]
    unexplained = [one for one in survivors if one.key not in reasons]
    counted = len(pool) - (len(survivors) - len(unexplained))
    share = sum(killed) / counted if counted else 1.0
    may = len(survivors) - len(unexplained)
    _say(f"{sum(killed)} of {len(pool)} mutants noticed, {may} may survive (reasons kept),")
    _say(f"{len(unexplained)} without a reason: {100 * share:.1f} % noticed of those that count.")
    return 0 if share >= LEAST_KILLED else 1


if __name__ == "__main__":
    raise SystemExit(main())
