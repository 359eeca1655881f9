"""Put the real output into the README: `make readme` writes it, a test holds it."""

from __future__ import annotations

import re
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
BLOCK = re.compile(r"(<!-- output: (?P<unit>[a-z0-9-]+) -->\n```text\n).*?(```\n)", re.DOTALL)


def excerpt(unit: str) -> str:
    """Return the short answer of a unit, as the terminal text in reports-demo has it."""
    return (ROOT / "reports-demo" / unit / "report.txt").read_text(encoding="utf-8")


def filled(text: str) -> str:
    """Return the README with every output block as the product prints it."""
    return BLOCK.sub(lambda match: match[1] + excerpt(match["unit"]) + match[3], text)


if __name__ == "__main__":
    README.write_text(filled(README.read_text(encoding="utf-8")), encoding="utf-8")
    sys.stdout.write(f"filled {README.name}\n")
