"""The commands as a user types them: what they print, and how they exit."""

import json
import re

import pytest

from station.profile import load_profile
from station.program import compiled
from tests.benches import full_profile
from tests.commands import FULL, railbench

LINES, STEPS = len(compiled(full_profile()).lines()), len(full_profile().steps)
QUICK = FULL.with_name("quick.yaml")
QUICK_LINES = len(compiled(load_profile(QUICK)).lines())


def run_board(tmp_path, *more, profile="dual15/quick"):
    store = tmp_path / "r.sqlite"
    return railbench("run", profile, "--serial", "D15-1", "--simulated", "--store", store, *more, home=tmp_path)


def test_the_demo_shows_nine_passed_three_failed_and_where_the_record_is(tmp_path):
    done = railbench("demo", "--store", tmp_path / "r.sqlite", home=tmp_path)

    rows = re.findall(r"^ D15-0001-\d\d +(\w+)", done.stdout, re.M)
    assert done.returncode == 0
    assert sorted(rows) == ["Failed"] * 3 + ["Passed"] * 9
    assert "9 of 12 boards passed (75 %)" in done.stdout
    assert (tmp_path / "D15-0001-01.html").exists() and str(tmp_path / "r.sqlite") in done.stdout


def test_a_healthy_board_passes_with_exit_code_0(tmp_path):
    done = run_board(tmp_path)

    assert (done.returncode, done.stdout) == (0, f"SIMULATED D15-1  Passed: all {QUICK_LINES} lines\n")
    assert done.stderr.splitlines()[-1] == "bench verified safe"


def test_cautions_are_acknowledged_by_name_and_time_and_the_certificate_says_so(tmp_path):
    run_board(tmp_path, "--operator", "A. Tester", profile="dual15/full")

    page = railbench("certificate", "D15-1", "--store", tmp_path / "r.sqlite", home=tmp_path)
    shown = railbench("records", "show", "D15-1", "--store", tmp_path / "r.sqlite", "--json", home=tmp_path)

    html = (tmp_path / page.stdout.strip()).read_text(encoding="utf-8")
    assert "A. Tester; simulated hands answered" in html
    for danger in ("ramp: first power", "overload: overload on purpose"):
        assert re.search(rf"{danger}: acknowledged at \d{{4}}-\d\d-\d\dT[\d:.]+\+00:00<", html)
    assert json.loads(shown.stdout)["bench"]["operator"] == "A. Tester"


@pytest.mark.parametrize("name", [" A. Tester", "A" * 65, "A.\nTester"])
def test_a_name_that_is_none_is_refused(tmp_path, name):
    done = run_board(tmp_path, "--operator", name)

    assert done.returncode == 2
    assert "is not an operator's name; write at most 64 letters, a letter first, no blank at an end" in done.stderr


@pytest.mark.parametrize("fault", ["R108:open", "R206:open", "DZ101:reversed", "RF101:open"])
def test_a_faulty_board_fails_with_exit_code_1(tmp_path, fault):
    done = run_board(tmp_path, "--fault", fault)

    assert done.returncode == 1
    assert done.stdout.startswith("SIMULATED D15-1  Failed: ")


def test_json_is_one_document_with_every_line(tmp_path):
    done = run_board(tmp_path, "--json", "--fault", "DLED102:open")

    told = json.loads(done.stdout)
    assert (told["format"], told["outcome"], told["simulated"]) == (1, "Failed", True)
    assert len(told["lines"]) == QUICK_LINES and told["safe"]["verified"] is True


def test_the_list_and_the_certificate_come_from_the_record(tmp_path):
    run_board(tmp_path)

    listed = railbench("records", "list", "--store", tmp_path / "r.sqlite", "--json", home=tmp_path)
    shown = railbench("records", "show", "D15-1", "--store", tmp_path / "r.sqlite", home=tmp_path)
    page = railbench("certificate", "D15-1", "--store", tmp_path / "r.sqlite", home=tmp_path)

    (run,) = json.loads(listed.stdout)
    told = (run["serial"], run["profile"], run["outcome"], run["simulated"])
    assert told == ("D15-1", "dual15/quick", "Passed", True)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT.*\+00:00", run["started"])
    assert "loaded at low line: OUTP voltage" in shown.stdout
    assert page.stdout == "D15-1.html\n"
    html = (tmp_path / "D15-1.html").read_text(encoding="utf-8")
    assert "SIMULATED" in html and "Test certificate D15-1" in html and "http" not in html


def test_check_shows_steps_time_and_the_highest_voltage(tmp_path):
    done = railbench("check", FULL, home=tmp_path)

    assert done.returncode == 0
    assert "highest voltage between two terminals: 52 V, from INN to INP; rails add up" in done.stdout
    assert "Capacitors hold up to 1.5 J; C" in done.stdout
    assert re.search(rf"{LINES} lines in {STEPS} steps, about \d+ s of bench time", done.stdout)
    assert "WARNING" not in done.stdout


def test_check_warns_of_the_line_that_even_the_nominal_board_does_not_pass(tmp_path):
    done = railbench("check", changed(tmp_path, "current limit: 150 mA", "current limit: 5 mA"), home=tmp_path)

    (warning,) = re.findall(r"^WARNING: (.*)$", done.stdout, re.M)
    assert warning.startswith("the nominal board is Failed at 'ramp: INN highest current' (the current limit of 5 mA")


def changed(tmp_path, old, new):
    """Return a profile with one thing changed, beside the board it needs."""
    for file in FULL.parent.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    text = FULL.read_text(encoding="utf-8")
    assert text.count(old) >= 1
    (tmp_path / "full.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
    return tmp_path / "full.yaml"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "current limit: 150 mA",
            "currnt limit: 150 mA",
            r"full\.yaml:14:\d+: 'currnt limit' .*; write 'current limit'",
        ),
        ("16.5 mA .. 20.5 mA", "16.5 mX .. 20.5 mX", r"full\.yaml:18:\d+: current: 'mX' is not a unit .*; write mA"),
        ("15 V ± 0.5 %", "nan V ± 0.5 %", r"full\.yaml:20:\d+: voltage: 'nan V' is not a value; write .*"),
        (
            "16.5 mA .. 20.5 mA",
            "20.5 mA .. 16.5 mA",
            r"full\.yaml:18:\d+: current: the lower side .* is above .*; write .*",
        ),
        ("RV101: {OUTP:", "RV101: {OUTX:", r"full\.yaml:15:\d+: RV101 sets OUTP, but the step gives OUTX; write .*"),
        ("INN:  {current", "INX:  {current", r"full\.yaml:19:\d+: 'INX' is neither .*; write 'IN[PN]'"),
        ("profile: dual15/full", "profile: mono5/full", r"full\.yaml:2:\d+: the profile is for 'mono5', .*; write .*"),
    ],
)
def test_a_wrong_profile_gets_its_place_what_is_wrong_and_what_to_write(tmp_path, old, new, message):
    done = railbench("check", changed(tmp_path, old, new), home=tmp_path)

    assert done.returncode == 2
    assert re.fullmatch(rf".*{message}\n", done.stderr), done.stderr


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "the file is empty; write at least its first key"),
        (b"\x7fELF\x00\x01\xff\xfe", "is not UTF-8 text; save the file as UTF-8, or check that it is the right one"),
    ],
)
def test_a_file_that_is_no_profile_is_refused(tmp_path, content, message):
    (tmp_path / "p.yaml").write_bytes(content)

    done = railbench("check", tmp_path / "p.yaml", home=tmp_path)

    assert done.returncode == 2
    assert message in done.stderr and done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (
            ["run", "dual15/full", "--serial", "X"],
            2,
            "a run is on a bench or on a simulated one; write --bench FILE, or else --simulated",
        ),
        (
            ["run", "dual15/ful", "--serial", "X", "--simulated"],
            2,
            "there is no profile 'dual15/ful'; write 'dual15/full'",
        ),
        (["run", "dual15/full", "--serial", "a/b", "--simulated"], 2, "'a/b' is not a serial number; write"),
        (["run", "dual15/full", "--serial", "D15-1 ", "--simulated"], 2, "'D15-1 ' is not a serial number; write"),
        (["run", "dual15/full", "--serial", "X", "--simulated", "--fault", "R999:open"], 2, "R999"),
        (["run", "dual15/full", "--serial", "X", "--simulated", "--fault", "R108:opn"], 2, "open"),
        (
            ["run", "dual15/full", "--serial", "X", "--simulated", "--store", "/proc/none/r.sqlite"],
            5,
            "/proc/none/r.sqlite",
        ),
        (["records", "list", "--store", "none.sqlite"], 5, "there is no record here"),
        (["records", "list", "--store", ""], 5, "store "),
        (["records", "list", "--store", "nosuch://host/db"], 5, "store nosuch://host/db: "),
        (["frobnicate"], 2, "No such command 'frobnicate'; see 'railbench --help'"),
        (["records", "frobnicate"], 2, "No such command 'frobnicate'; see 'railbench records --help'"),
        (["run"], 2, "Missing argument 'PROFILE'; see 'railbench run --help'"),
    ],
)
def test_a_wrong_command_gets_one_clear_message(tmp_path, arguments, code, message):
    done = railbench(*arguments, home=tmp_path)

    told = done.stderr.splitlines()[-1]
    assert done.returncode == code
    assert message in told and "Traceback" not in done.stderr and done.stdout == ""


def test_a_store_that_is_no_record_is_left_as_it_is(tmp_path):
    (tmp_path / "r.sqlite").write_text("shopping list")

    done = run_board(tmp_path)

    assert done.returncode == 5
    assert (tmp_path / "r.sqlite").read_text() == "shopping list"


def test_help_answers_without_loading_the_bench(tmp_path):
    done = railbench("--help", home=tmp_path)

    assert done.returncode == 0
    assert all(command in done.stdout for command in ("demo", "run", "check", "certificate", "records"))
