"""The command prove as a user types it: what it prints, what it refuses, and how it exits."""

import json

import pytest

from tests.commands import railbench
from tests.dividers import NETLIST, PROFILE, SHEET, written

FEW = ("--boards", "20", "--per-fault", "2", "--jobs", "1")
ESTIMATES = ("coverage", "coverage_of_visible")
COUNTS = ("healthy", "false_fails", "undecided", "unsolved")


def prove(tmp_path, *more, **texts):
    """Prove a divider with few boards; later options win."""
    return railbench("prove", written(tmp_path, **texts), *FEW, *more, home=tmp_path)


def test_json_is_one_document_with_the_keys_that_scripts_read(tmp_path):
    done = prove(tmp_path, "--json")

    told = json.loads(done.stdout)
    assert (done.returncode, done.stderr, told["profile"]) == (0, "", "divider/full")
    assert all(0.0 <= told[key]["low"] <= told[key]["value"] <= told[key]["high"] <= 1.0 for key in ESTIMATES)
    assert [type(told[key]) for key in COUNTS] == [int] * 4
    assert len(told["escapes"]) == 13 and {"fault", "weight", "passed", "reason"} <= told["escapes"][0].keys()
    assert isinstance(told["seconds"], float)


def test_without_json_the_summary_is_for_people(tmp_path):
    done = prove(tmp_path)

    assert done.stdout.startswith("SIMULATED divider/full revision -  coverage 53.1 %; 13 of 24 faults escape\n")
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(("percent", "code"), [("53", 0), ("53.2", 1)])
def test_coverage_below_what_is_asked_exits_1_and_is_reported_all_the_same(tmp_path, percent, code):
    done = prove(tmp_path, "--fail-under", percent)

    assert (done.returncode, done.stderr) == (code, "")
    assert "coverage 53.1 %" in done.stdout


def test_the_page_is_written_where_it_is_asked(tmp_path):
    done = prove(tmp_path, "--html", "proof.html", "--faults", "cold joint")

    page = (tmp_path / "proof.html").read_text(encoding="utf-8")
    assert done.returncode == 0
    assert "divider/full" in page and "R3:cold" in page and "R3:open" not in page


def test_a_shops_own_counts_weigh_the_faults(tmp_path):
    (tmp_path / "counts.yaml").write_text("counts: {R3:cold: 1000000}\n", encoding="utf-8")

    told = json.loads(prove(tmp_path, "--counts", "counts.yaml", "--json").stdout)

    assert told["escapes"][0]["fault"] == "R3:cold" and told["escapes"][0]["weight"] > 0.99
    assert told["coverage"]["value"] < 0.01


NARROW = PROFILE.replace("OUTP: {voltage: 5 V ± 10 %}", "INP: {current: 5 mA ± 0.1 mA}")


def test_a_profile_under_which_every_good_board_is_undecided_is_refused(tmp_path):
    """The supply's readback is less sure of 5 mA than the limit is wide."""
    done = prove(tmp_path, profile=NARROW)

    assert (done.returncode, done.stdout) == (2, "")
    assert "none of 20 boards without a fault passes: they are Undecided" in done.stderr


HIGH = PROFILE.replace("5 V ± 10 %", "6 V ± 1 %")


def test_a_profile_that_fails_most_good_boards_is_refused_with_the_line_and_before_any_fault(tmp_path):
    """No faulty board is simulated: 5000 of each would take minutes."""
    done = prove(tmp_path, "--per-fault", "5000", "--html", "p.html", profile=HIGH)

    assert (done.returncode, done.stdout, (tmp_path / "p.html").exists()) == (2, "", False)
    assert done.stderr == (
        f"{tmp_path / 'full.yaml'}: 20 of 20 boards without a fault fail, 20 of them first on 'half: OUTP voltage': "
        "what such a profile fails proves nothing; widen that limit, or correct the netlist or its tolerances\n"
    )


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["--boards", "0"], 2, "Invalid value for '--boards': Input should be greater than or equal to 1; see"),
        (["--per-fault", "0"], 2, "Invalid value for '--per-fault'"),
        (["--jobs", "0"], 2, "Invalid value for '--jobs'"),
        (["--fail-under", "101"], 2, "Invalid value for '--fail-under'"),
        (["--fail-under", "nan"], 2, "--fail-under"),
        (["--faults", "R9:open"], 2, "board.cir has no part 'R9'; write one of R3, R2, R1"),
        (["--faults", "R1.q:open"], 2, "R1.q:open: there is no pin 'q'; write one of 1, 2"),
        (["--faults", "cold jont"], 2, "'cold jont' is no class of faults and no fault; write 'cold joint'"),
        (["--html", "none/p.html"], 5, "none/p.html: the page can't be written (No such file or directory); name"),
        (["--counts", "none.yaml"], 2, "none.yaml: there is no such file; check the name"),
    ],
)
def test_a_wrong_command_is_refused_in_one_line(tmp_path, words, code, message):
    done = prove(tmp_path, *words)

    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (code, "", 1)
    assert message in done.stderr


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        ({"sheet": SHEET.replace("board.cir", "none.cir")}, "none.cir: there is no such file; check the name"),
        ({"sheet": SHEET.replace("node: outp", "node: out")}, "board.yaml: terminal OUTP is at node 'out', which "),
        ({"netlist": NETLIST.replace("1meg", "one")}, "board.cir:4: "),
        ({"netlist": "* empty\n"}, "board.cir:1: the netlist holds no element; write a title line, then elements"),
    ],
)
def test_a_board_without_its_circuit_is_refused_in_one_line(tmp_path, texts, message):
    done = prove(tmp_path, **texts)

    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith(str(tmp_path / message.partition(": ")[0])) and message in done.stderr
