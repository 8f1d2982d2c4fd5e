"""One package for all export tests; none of them changes it."""

from __future__ import annotations

from pathlib import Path

import pytest
from export.sample_package import town


@pytest.fixture(scope="session")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return town(tmp_path_factory.mktemp("town"))
