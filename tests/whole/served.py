"""A simulated bench in a process of its own, reached over SCPI as a real one is."""

import re
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path

from tests.commands import RAILBENCH, environment

ACKNOWLEDGED = "acknowledged\n"  # the cautions of a first power-up
SHORT = """\
profile: dual15/short
revision: A
board: {board}
steps:
  - ramp: {{inputs: [INP, INN], to: nominal, over: 2 s, current limit: 150 mA}}
  - measure: {{OUTP: {{voltage: 15 V ± 8 %}}, OUTN: {{voltage: -15 V ± 8 %}}, INP: {{current: 16 mA .. 21 mA}}}}
  - discharge: {{below: 2 V}}
"""


@dataclass(frozen=True)
class Served:
    """A served bench: its file, its folder, and a profile that its board passes untrimmed."""

    home: Path
    file: Path
    profile: Path
    process: "subprocess.Popen[str]"

    def port(self, instrument: str) -> int:
        """Return the port that an instrument listens on."""
        found = re.search(rf"^  {instrument}:\n    resource: \S+?::(\d+)::SOCKET", self.file.read_text(), re.MULTILINE)
        assert found is not None
        return int(found[1])

    def ask(self, instrument: str, question: str) -> str:
        """Ask an instrument something on a link of our own."""
        with socket.create_connection(("127.0.0.1", self.port(instrument)), timeout=10.0) as link:
            link.sendall(question.encode() + b"\n")
            return link.makefile().readline().strip()

    def outputs(self) -> str:
        """Return the state of both outputs."""
        return self.ask("supply", "OUTP? (@1,2)")

    def start(
        self, *options: str, serial: str = "S1", errors: Path | None = None, typed: str = ACKNOWLEDGED
    ) -> "subprocess.Popen[str]":
        """Start a run on this bench, in a process group of its own, with what is typed at its prompts."""
        words = [RAILBENCH, "run", str(self.profile), "--serial", serial, "--bench", str(self.file), *options]
        with nullcontext(subprocess.PIPE) if errors is None else errors.open("w") as told:
            process = subprocess.Popen(
                words,
                env=environment(self.home),
                cwd=self.home,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=told,
                text=True,
                start_new_session=True,
            )
        assert process.stdin is not None
        process.stdin.write(typed)
        process.stdin.flush()
        return process


@contextmanager
def served(home: Path, *options: str, board: str = "dual15") -> Iterator[Served]:
    """Serve a healthy board while the block runs."""
    words = [RAILBENCH, "bench", "--simulate", board, "--seed", "4", *options]
    streams = {"stdin": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    process = subprocess.Popen(words, env=environment(home), cwd=home, **streams)  # type: ignore[call-overload]
    profile = home / "short.yaml"
    profile.write_text(SHORT.format(board=Path(__file__).parents[2] / "profiles" / "dual15" / "board.yaml"))
    try:
        while "Ctrl-C" not in (line := process.stderr.readline()):
            assert line, "the bench did not open"
        yield Served(home, home / f"{board}.bench.yaml", profile, process)
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)


def until(what: str, holds, seconds: float = 30.0) -> float:
    """Wait until something holds; returns how long that took."""
    began = time.monotonic()
    while not holds():
        assert time.monotonic() - began < seconds, f"not within {seconds:g} s: {what}"
        time.sleep(0.01)
    return time.monotonic() - began
