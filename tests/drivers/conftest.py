from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest

from drivers import Session, open_links
from tests.drivers.line_server import Answers, LineServer, line_server

Called = Callable[..., tuple[LineServer, Session]]


@pytest.fixture
def call() -> Iterator[Called]:
    """Open a server of literal replies and a session to it: `server, session = call({"VOLT?": b"5\\n"})`."""
    with ExitStack() as stack:

        def opened(answers: Answers, *, timeout_seconds: float = 0.2) -> tuple[LineServer, Session]:
            server = stack.enter_context(line_server(answers))
            links = stack.enter_context(open_links())
            return server, links.open(server.resource, name="supply", timeout_seconds=timeout_seconds)

        yield opened


@pytest.fixture
def waits() -> list[float]:
    """What a driver waited for, in seconds; `waits.append` is its wait."""
    return []
