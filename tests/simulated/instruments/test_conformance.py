"""The SCPI parser meets every conformance case that a raw TCP socket can carry."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import pytest
import yaml

from simulated.server import open_server
from tests.simulated.instruments.line_client import LineClient, connected
from tests.simulated.instruments.reference_instrument import ReferenceInstrument

Expected = float | str
CASES_FILE = Path(__file__).parents[2] / "reference" / "scpi_conformance.yaml"
ALL_CASES = cast(list[dict[str, object]], yaml.safe_load(CASES_FILE.read_text())["cases"])
CASES = [case for case in ALL_CASES if case["level"] in ("must", "strict", "either")]


@dataclass(frozen=True)
class Told:
    """What the instrument did about one case."""

    lines: list[str]
    errors: list[int]
    checks: dict[str, str]


@pytest.fixture(scope="module")
def client() -> Iterator[LineClient]:
    with open_server(ReferenceInstrument()) as server, connected(server.port) as connection:
        yield connection


def test_all_130_cases_that_raw_tcp_can_carry_are_run() -> None:
    assert len(CASES) == 130
    assert {case["level"] for case in ALL_CASES} - {case["level"] for case in CASES} == {"xport"}


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["id"]))
def test_the_parser_meets_the_case(client: LineClient, case: dict[str, object]) -> None:
    alternatives = cast(list[dict[str, object]], case.get("one_of", [case]))
    queries = {query: None for each in alternatives for query, _ in each.get("check", [])}  # type: ignore[attr-defined]  # YAML
    told = perform(client, case, list(queries))
    complaints = [complaint(each, told, tolerant=bool(case.get("ignore_extra_errors"))) for each in alternatives]
    assert None in complaints, complaints


def perform(client: LineClient, case: dict[str, object], checks: list[str]) -> Told:
    for line in ("*RST", "*CLS", "*ESE 0", "*SRE 0", "STAT:PRES"):
        client.send(line)
    for message in cast(list[str], case["send"]):
        client.send(message, terminated=not case.get("raw"))
    # A pair of answers that no case asks for marks the end: whatever arrives before it belongs to the case.
    client.send("INST:NSEL?;:SYST:VERS?")
    lines = list(iter(client.read_line, "1;1999.0"))
    errors = [int(entry.split(",")[0]) for entry in client.drain_errors()]
    return Told(lines, errors, {query: client.ask(query) for query in checks})


def complaint(expected: dict[str, object], told: Told, *, tolerant: bool) -> str | None:
    replies = cast(list[list[Expected]], expected.get("replies", []))
    if len(replies) != len(told.lines) or not all(map(same_line, replies, told.lines)):
        return f"expected {replies}, was answered {told.lines}"
    errors = cast(list[int | list[int]], expected.get("errors", []))
    allowed = [[each] if isinstance(each, int) else each for each in errors]
    found = told.errors[: len(allowed)] if tolerant else told.errors
    if len(found) != len(allowed) or not all(code in each for code, each in zip(found, allowed, strict=True)):
        return f"expected errors {errors}, found {told.errors}"
    for query, value in cast(list[tuple[str, Expected]], expected.get("check", [])):
        if not same_unit(value, told.checks[query]):
            return f"expected {query} to be {value}, was {told.checks[query]}"
    return None


def same_line(expected: list[Expected], line: str) -> bool:
    units = [line] if len(expected) == 1 else line.split(";")
    return len(units) == len(expected) and all(map(same_unit, expected, units))


def same_unit(expected: Expected, unit: str) -> bool:
    if not isinstance(expected, str):
        return float(unit) == pytest.approx(expected, rel=1e-6, abs=1e-9)
    if expected.startswith("re:"):
        return re.fullmatch(expected[3:], unit) is not None
    return unit == expected
