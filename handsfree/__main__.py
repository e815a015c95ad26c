"""Starts the program; loads nothing before, since every child process goes through here."""


def main() -> int:
    """The command line; returns the exit code."""
    from handsfree.shell.cli import main as run

    return run()


if __name__ == "__main__":
    raise SystemExit(main())
