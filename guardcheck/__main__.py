"""Run as `python -m guardcheck`."""

from guardcheck.cli import main

main()
