"""Own the VISA resource manager: the one place that opens it, hands out sessions and closes it last.

There is one resource manager in a process whatever one does, and closing it closes everybody's links, so it is
closed when the last `open_links` ends.
"""

import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pyvisa

from drivers.errors import LinkLost, Where
from drivers.session import Session
from drivers.wire import Wire, open_visa_wire

__all__ = ["Links", "listed_resources", "open_links"]

_counting = threading.Lock()
_users: dict[str, int] = {}


class Links:
    """The open links of one bench; made by `open_links`."""

    def __init__(
        self, manager: pyvisa.ResourceManager, wrapped: Callable[[Wire], Wire], timeout_seconds: float
    ) -> None:
        self.manager = manager
        self._wrapped, self._timeout_seconds = wrapped, timeout_seconds
        self._sessions: dict[str, Session] = {}

    def open(
        self,
        resource: str,
        *,
        name: str,
        timeout_seconds: float | None = None,
        open_timeout_seconds: float = 2.0,
        termination: str = "\n",
    ) -> Session:
        """Open the link to a VISA resource and return its session.

        `name` is what the bench calls the instrument; messages and the log use it. Raises LinkLost if nothing listens
        there, or if this bench has that resource open already: most instruments serve one client, and the second one
        would only time out.
        """
        if resource in self._sessions:
            raise LinkLost(
                Where(name, resource),
                f"this resource is already open as '{self._sessions[resource].where().instrument}'",
                "give each instrument of the bench its own address",
            )

        def open_wire() -> Wire:
            wire = open_visa_wire(
                self.manager, resource, termination=termination, open_timeout_seconds=open_timeout_seconds
            )
            return self._wrapped(wire)

        session = Session(
            name, resource, open_wire, self._timeout_seconds if timeout_seconds is None else timeout_seconds
        )
        session.open()
        self._sessions[resource] = session
        return session

    def close(self) -> None:
        """Close every session, the last opened first."""
        while self._sessions:
            self._sessions.popitem()[1].close()


def listed_resources(links: Links) -> tuple[str, ...]:
    """Return the addresses at which VISA finds something by itself; network sockets are never among them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library tells of optional packages that it would look further with
        return tuple(links.manager.list_resources("?*"))


@contextmanager
def open_links(
    backend: str = "@py", wrapped: Callable[[Wire], Wire] = lambda wire: wire, timeout_seconds: float = 2.0
) -> Iterator[Links]:
    """Open the VISA library and close, at the end, every session and then the library.

    Every wire that is opened is handed to `wrapped` first: a recorder, or a test that spoils what goes over it. A reply
    that takes longer than the time-out is none, unless a link is opened with a time-out of its own.
    """
    with _counting:
        manager = pyvisa.ResourceManager(backend)
        _users[backend] = _users.get(backend, 0) + 1
    links = Links(manager, wrapped, timeout_seconds)
    try:
        yield links
    finally:
        links.close()
        with _counting:
            _users[backend] -= 1
            if not _users[backend]:
                manager.close()
