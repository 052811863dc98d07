"""What all tests share: plain assertions in the contract classes, and the folder of real shapes if there is one."""

import os
from pathlib import Path

import pytest

pytest.register_assert_rewrite("contracts")


@pytest.fixture(scope="session")
def shapes_folder() -> Path:
    """Folder with the shape files of (4769) and (25143) in km; without BINARYDYN_SHAPES the test is skipped."""
    folder = os.environ.get("BINARYDYN_SHAPES")
    if not folder:
        pytest.skip("BINARYDYN_SHAPES is not set: it names a folder with shape files of (4769) and (25143), in km")
    return Path(folder)
