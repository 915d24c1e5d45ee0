"""Give numpy one thread before anything imports it, as the command line does; give all tests one folder to cache in."""

import os
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

# No deadline: two shared cores make one slow example a matter of luck. Derandomised: the gate says the same twice.
settings.register_profile("gate", deadline=None, derandomize=True)
settings.register_profile("exhaustive", deadline=None, max_examples=3000)

if "PYTEST_XDIST_WORKER" not in os.environ:  # workers inherit it
    # What is remembered between commands is the same for all tests; the user's own is not touched.
    _CACHE = tempfile.TemporaryDirectory(prefix="railbench-tests-")
    os.environ["XDG_CACHE_HOME"] = _CACHE.name


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--exhaustive", action="store_true", help="every case where CI takes a sample: an hour or so")


def pytest_configure(config: pytest.Config) -> None:
    """Draw thousands of new examples where every case is wanted, else the same hundred each time."""
    settings.load_profile("exhaustive" if config.getoption("--exhaustive") else "gate")


@pytest.fixture(scope="session")
def exhaustive(request: pytest.FixtureRequest) -> bool:
    """Whether every case is wanted, or a sample that fits into CI."""
    return bool(request.config.getoption("--exhaustive"))
