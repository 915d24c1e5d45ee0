from collections.abc import Iterator
from pathlib import Path

import pytest

from station.store import Store, open_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as opened:
        yield opened
