"""Skips what needs the model tools when they are not installed."""

from typing import Any

import pytest


@pytest.fixture(scope="session")
def torch() -> Any:
    """PyTorch, on one thread."""
    module = pytest.importorskip(
        "torch", reason="the model tools are not installed: pip install 'handsfree[models]'"
    )
    module.set_num_threads(1)
    return module
