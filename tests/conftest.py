"""Shared fixtures. ngspice is needed: without it tests fail, unless GUARDCHECK_ALLOW_NO_NGSPICE=1 is set by hand."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from guardcheck.engine import Engine


@pytest.fixture(scope="session")
def engine() -> Iterator[Engine]:
    """One running engine for the session."""
    from guardcheck.engine import Engine
    from guardcheck.errors import EngineMissing

    try:
        running = Engine(workers=1).__enter__()
    except EngineMissing as error:
        if os.environ.get("GUARDCHECK_ALLOW_NO_NGSPICE") and not os.environ.get("GUARDCHECK_CI"):
            pytest.skip(f"ngspice is missing and its absence was allowed by hand: {error}")
        pytest.fail(f"ngspice is missing: {error}")
    yield running
    running.__exit__(None, None, None)
