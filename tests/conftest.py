"""Give numpy one thread before anything imports it, as the command line does."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--exhaustive", action="store_true", help="every case where CI takes a sample: half an hour or so")


@pytest.fixture(scope="session")
def exhaustive(request: pytest.FixtureRequest) -> bool:
    """Whether every case is wanted, or a sample that fits into CI."""
    return bool(request.config.getoption("--exhaustive"))
