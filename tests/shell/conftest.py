"""The real recognizer, started once for all tests of the shell."""

from collections.abc import Iterator

import pytest

from handsfree.shell.hearing import Hearing
from handsfree.shell.model_folder import shipped_model


@pytest.fixture(scope="session")
def hearing() -> Iterator[Hearing]:
    """A running recognizer process with the shipped model."""
    with Hearing(shipped_model()) as started:
        yield started
