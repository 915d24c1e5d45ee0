"""The JSON Schemas for editors, held against the files that ship by a validator that nobody here wrote."""

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from station.document import parse_document
from station.schemas import schema
from tests.commands import railbench
from tests.station.test_benchfile import BENCH

PROFILES = Path(__file__).parents[2] / "profiles"
SHEETS = sorted(PROFILES.glob("*/board.yaml"))
TESTS = sorted(set(PROFILES.glob("*/*.yaml")) - set(SHEETS))


def faults(of: str, text: str) -> list[str]:
    data: Any = parse_document(text, "file").data
    return [error.message for error in Draft202012Validator(schema(of)).iter_errors(json.loads(json.dumps(data)))]


@pytest.mark.parametrize("of", ["board", "profile", "bench"])
def test_a_schema_is_one(of: str) -> None:
    Draft202012Validator.check_schema(schema(of))


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.parent.name)
def test_every_shipped_board_sheet_fits_its_schema(path: Path) -> None:
    assert faults("board", path.read_text()) == []


@pytest.mark.parametrize("path", TESTS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_shipped_profile_fits_its_schema(path: Path) -> None:
    assert faults("profile", path.read_text()) == []


def test_a_bench_file_fits_its_schema() -> None:
    assert faults("bench", BENCH) == []


def test_a_misspelt_key_and_an_unknown_step_do_not_fit() -> None:
    text = (PROFILES / "dual15" / "full.yaml").read_text()
    assert faults("profile", text.replace("  - ramp:", "  - rampe:"))
    assert faults("profile", text.replace("over: 5 s", "ower: 5 s"))
    assert faults("bench", BENCH.replace("identity:", "identify:"))


def test_the_command_prints_one_document(tmp_path: Path) -> None:
    done = railbench("check", "--schema", "bench", home=tmp_path)
    assert done.returncode == 0 and json.loads(done.stdout) == schema("bench")
