"""Give numpy one thread before anything imports it, as the command line does; give all tests one folder to cache in."""

import os
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest

_CACHE = tempfile.TemporaryDirectory(prefix="railbench-tests-")
# What is remembered between commands, such as how long a profile takes, is the same for all; the user's is not touched.
os.environ["XDG_CACHE_HOME"] = _CACHE.name


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--exhaustive", action="store_true", help="every case where CI takes a sample: half an hour or so")


@pytest.fixture(scope="session")
def exhaustive(request: pytest.FixtureRequest) -> bool:
    """Whether every case is wanted, or a sample that fits into CI."""
    return bool(request.config.getoption("--exhaustive"))
