from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from station.store import Store, open_store

# No deadline: two shared cores make one slow example a matter of luck. Derandomised: the gate says the same twice.
settings.register_profile("station", deadline=None, derandomize=True)
settings.load_profile("station")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as opened:
        yield opened
