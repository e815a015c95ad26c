"""Runs the command line: ``python -m handsfree``."""

from handsfree.shell.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
