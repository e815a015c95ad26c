"""The ``review`` command."""

import argparse


def add_command(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``review`` to the command line."""
