"""Give numpy one thread before anything imports it, as the command line does; give all tests one folder to cache in."""

import os
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest

if "PYTEST_XDIST_WORKER" not in os.environ:  # workers inherit it
    # What is remembered between commands is the same for all tests; the user's own is not touched.
    _CACHE = tempfile.TemporaryDirectory(prefix="railbench-tests-")
    os.environ["XDG_CACHE_HOME"] = _CACHE.name


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--exhaustive", action="store_true", help="every case where CI takes a sample: half an hour or so")


@pytest.fixture(scope="session")
def exhaustive(request: pytest.FixtureRequest) -> bool:
    """Whether every case is wanted, or a sample that fits into CI."""
    return bool(request.config.getoption("--exhaustive"))
