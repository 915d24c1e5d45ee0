"""What README and DEVELOPERS say is so."""

import re
from pathlib import Path

import pytest

from station import cli, exits
from station.benchfile import parse_bench_file
from station.board import load_board
from station.profile import parse_profile
from station.steps import KINDS

COMMANDS = [getattr(command.callback, "__name__", "") for command in cli.app.registered_commands]
ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_two_commands_of_a_newcomer_are_there():
    assert "\npython3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/railbench demo\n" in README
    assert "\n.venv/bin/pytest\n" in README


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_step_kind_has_its_row(kind):
    assert f"\n| `{kind}` | " in README


def test_no_row_tells_of_a_step_kind_that_is_not_there():
    assert set(re.findall(r"^\| `([a-z ]+)` \| ", README, re.M)) == set(KINDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_shown(command):
    assert f"railbench {command}" in README


def test_the_example_profile_is_one():
    (example,) = re.findall(r"```yaml\n(profile:.*?)```", README, re.S)
    board = load_board(ROOT / "profiles" / "dual15" / "board.yaml")

    assert len(parse_profile(example, ROOT / "README.md", board).steps) == 8


def test_the_exit_codes_are_the_table():
    told = {int(code) for code in re.findall(r"^\| (\d+) \| ", README, re.M)}

    assert told == {getattr(exits, name) for name in exits.__all__ if name.isupper()}


@pytest.mark.parametrize("room", ["station", "drivers", "simulated"])
def test_developers_names_no_module_that_is_gone(room):
    for module in re.findall(rf"`{room}/([a-z_/]+\.py)`", DEVELOPERS):
        assert (ROOT / room / module).exists(), module


def test_every_module_of_the_station_is_on_the_map():
    modules = {path.stem for path in (ROOT / "station").glob("*.py")} - {"__init__"}

    assert modules - set(re.findall(r"`([a-z_]+)`", DEVELOPERS)) == set()


def test_the_example_bench_file_fits_the_example_board():
    (example,) = re.findall(r"```yaml\n(bench:.*?)```", README, re.S)
    board = load_board(ROOT / "profiles" / "dual15" / "board.yaml")

    assert parse_bench_file(example, ROOT / "README.md").misfits(board) == []
