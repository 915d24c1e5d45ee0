import io
import sys
from pathlib import Path

from station.streams import Outlet, outlets


class Gone(io.StringIO):
    """A stream whose reader goes away after the first text; remembers what it took."""

    def __init__(self) -> None:
        super().__init__()
        self.took: list[str] = []

    def write(self, text: str) -> int:
        if self.took:
            raise BrokenPipeError(32, "Broken pipe")
        self.took.append(text)
        return len(text)


def test_a_text_for_a_reader_that_has_gone_is_dropped() -> None:
    inner = Gone()
    outlet = Outlet(inner)

    written = [outlet.write(text) for text in ("one", "two", "three")]

    assert (written, inner.took) == ([3, 3, 5], ["one"])
    assert isinstance(outlet.lost, BrokenPipeError)


def test_a_stream_closed_from_the_start_takes_everything_and_has_lost_nothing() -> None:
    outlet = Outlet(None)

    assert outlet.write("one") == 3 and outlet.encoding == "utf-8" and not outlet.isatty()
    assert outlet.lost is None


def test_a_sign_that_a_stream_does_not_have_becomes_a_mark(tmp_path: Path) -> None:
    with (tmp_path / "ascii.txt").open("w", encoding="ascii") as inner:
        Outlet(inner).write("15 V ± 1 %")

    assert (tmp_path / "ascii.txt").read_text() == "15 V ? 1 %"


def test_the_streams_are_as_before_after_the_block() -> None:
    before = sys.stdout, sys.stderr

    with outlets() as out:
        assert sys.stdout is out

    assert (sys.stdout, sys.stderr) == before
