from contextlib import suppress
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from station.errors import InputError
from station.judge import Rule
from station.profile import load_profile, parse_profile
from tests.station.boards import NETLIST, RAMP, SHEET, profile_of, profile_text, rule_of, twin

MEASURE = "measure: {OUTP: {voltage: 15 V ± 1 %}}"


def refusal(text: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        parse_profile(text, Path("p.yaml"), twin())
    return str(refused.value).splitlines()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("revision", "revison", "p.yaml:2:1: 'revison' is not a key known here; write 'revision'"),
        ("profile: twin/test\n", "", "p.yaml:1:1: the key 'profile' is missing; write 'profile: ...' here"),
        (
            "steps:\n",
            "steps: none\nother:\n",
            "p.yaml:5:1: steps: 'none' does not fit; note that input should be a valid list\n"
            "p.yaml:6:1: 'other' is not a key known here; "
            "write one of profile, revision, board, decision, steps",
        ),
        (
            "revision: A",
            "revision: [A]",
            "p.yaml:2:1: revision: ['A'] does not fit; note that input should be a valid string",
        ),
        ("rule: guarded", "rule: lenient", "p.yaml:4:12: rule: 'lenient' is not known; write 'simple' or 'guarded'"),
        ("most: 2 %", "most: 2", "p.yaml:4:27: false accept at most: '2' has no unit; write for example '2 %'"),
        (
            "most: 2 %",
            "most: 60 %",
            "p.yaml:4:1: a false-accept risk of 0.6 can not be kept; write 0 % to 50 %",
        ),
        (
            "false accept at most: 2 %",
            "guard band: 2",
            "p.yaml:4:27: guard band: 2 does not fit; note that input should be a valid string",
        ),
        (
            "false accept at most: 2 %",
            "guard band: nan U",
            "p.yaml:4:27: guard band: 'nan U' is not a guard band; write a multiple of U, such as '1 U' or '0.83 U'",
        ),
        (
            "most: 2 %",
            "most: 2 %, guard band: 1 U",
            "p.yaml:4:1: a guard band stands beside another rule; keep the guard band or the other",
        ),
        (
            "rule: guarded, false accept at most: 2 %",
            "rule: simple, guard band: 1 U",
            "p.yaml:4:1: a guard band stands beside another rule; keep the guard band or the other",
        ),
    ],
)
def test_what_is_wrong_at_the_top_is_told_with_its_place(old: str, new: str, message: str) -> None:
    text = profile_text(RAMP)
    assert text.count(old) == 1
    assert refusal(text.replace(old, new)) == message.splitlines()


def test_all_that_is_wrong_is_told_at_once_in_the_order_of_the_file() -> None:
    text = profile_text(
        "mesure: {}",
        "ramp: {inputs: [INP, INQ], ovr: 5 s, current limit: 150}",
        "measure: {OUTQ: {voltage: 15 V ± 1 %}, OUTP: {voltag: 15 V ± 1 %}}",
        "measure: {TP1: {voltage: 6 V .. 5 V}}",
    ).replace("revision", "revison")
    assert refusal(text) == [
        "p.yaml:2:1: 'revison' is not a key known here; write 'revision'",
        "p.yaml:6:5: 'mesure' is not a kind of step; write 'measure'",
        "p.yaml:7:32: 'ovr' is not a key of 'ramp'; write 'over'",
        "p.yaml:7:42: current limit: '150' has no unit; write it as text with one, such as '150 A'",
        "p.yaml:8:15: 'OUTQ' is neither a key of 'measure' nor one of the board's terminals; write 'OUTP'",
        "p.yaml:8:51: 'voltag' is not a key known here; write 'voltage'",
        "p.yaml:9:21: voltage: the lower side 6 V is above the upper side 5 V; write the smaller one first",
    ]


@pytest.mark.parametrize(
    "step",
    [
        MEASURE,
        "trim: {RV101: {OUTP: 15 V ± 1 %}}",
        "line sweep: {inputs: 19 V .. 26 V, OUTP: {line regulation: at most 0.1 %/V}}",
        "load sweep: {OUTP: {to: 0.1 A, load regulation: at most 1 %}}",
    ],
)
def test_a_step_that_feeds_power_needs_a_ramp_before_it(step: str) -> None:
    (told,) = refusal(profile_text(step))
    assert told == "p.yaml:6:5: the step feeds power, but no ramp came before it; write a 'ramp' step first"


def test_a_ramp_that_can_not_be_read_is_no_missing_ramp() -> None:
    assert refusal(profile_text("ramp: {inputs: [INP], current limit: 150}", MEASURE)) == [
        "p.yaml:6:27: current limit: '150' has no unit; write it as text with one, such as '150 A'"
    ]


def test_a_misspelt_ramp_is_no_missing_ramp() -> None:
    assert refusal(profile_text("rmap: {inputs: [INP], current limit: 150 mA}", MEASURE)) == [
        "p.yaml:6:5: 'rmap' is not a kind of step; write 'ramp'"
    ]


@pytest.mark.parametrize(
    ("terminal", "limit"),
    [
        ("OUTP", "-100 mV .. 100 mV"),
        ("OUTP", "at most 15 V"),
        ("OUTP", "at least -1 V"),
        ("OUTN", "at most 1 V"),
        ("OUTN", "at least -16 V"),
        ("TP1", "-5.9 V .. -5.3 V"),  # a probe has no side
    ],
)
def test_a_limit_that_reaches_the_terminals_side_of_zero_is_fine(terminal: str, limit: str) -> None:
    profile_of(RAMP, f"measure: {{{terminal}: {{voltage: {limit}}}}}")


@pytest.mark.parametrize(("terminal", "limit"), [("OUTP", "at most -14 V"), ("OUTN", "at least 14 V")])
def test_an_open_limit_on_the_other_side_of_zero_is_refused(terminal: str, limit: str) -> None:
    (told,) = refusal(profile_text(RAMP, f"measure: {{{terminal}: {{voltage: {limit}}}}}"))
    assert f"but its limit {limit} lies on the other side of zero" in told


def test_a_powered_step_keeps_the_ramps_current_limit_and_says_so() -> None:
    profile = profile_of(RAMP, MEASURE)
    assert profile.steps[1].setup.amps_limit == 0.15
    assert profile.notes == ("step 'measure' keeps the ramp's current limit of 150 mA",)


def test_a_powered_step_may_have_a_limit_of_its_own() -> None:
    profile = profile_of(RAMP, "measure: {current limit: 1 A, OUTP: {voltage: 15 V ± 1 %}}")
    assert profile.steps[1].setup.amps_limit == 1.0
    assert profile.notes == ()


def test_every_step_has_a_title_of_its_own() -> None:
    named = "measure: {name: a 2, OUTP: {voltage: 15 V ± 1 %}}"
    first = "measure: {name: a, OUTP: {voltage: 15 V ± 1 %}}"
    profile = profile_of(RAMP, named, first, first, MEASURE, MEASURE)
    assert [step.setup.title for step in profile.steps] == ["ramp", "a 2", "a", "a 3", "measure", "measure 2"]


@pytest.mark.parametrize(
    ("decision", "rule"),
    [
        ("{}", Rule(guarded=True, risk=0.02)),
        ("{rule: simple}", Rule(guarded=False)),
        ("{false accept at most: 0.5 %}", Rule(risk=0.005)),
        ("{guard band: U}", Rule(guard_factor=1.0)),
        ("{guard band: 0.83 U}", Rule(guard_factor=0.83)),
    ],
)
def test_the_decision_is_a_rule(decision: str, rule: Rule) -> None:
    assert rule_of(decision) == rule


@pytest.mark.parametrize(("written", "kept"), [("B", "B"), ("7", "7"), ("'007'", "007")])
def test_a_revision_may_be_a_number(written: str, kept: str) -> None:
    text = profile_text(RAMP).replace("revision: A", f"revision: {written}")
    assert parse_profile(text, Path("p.yaml"), twin()).revision == kept


def laid_out(tmp_path: Path, text: str, sheet: str = SHEET, netlist: str | None = NETLIST) -> Path:
    (tmp_path / "p.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "board.yaml").write_text(sheet, encoding="utf-8")
    if netlist is not None:
        (tmp_path / "board.cir").write_text(netlist, encoding="utf-8")
    return tmp_path / "p.yaml"


def file_refusal(path: Path) -> list[str]:
    with pytest.raises(InputError) as refused:
        load_profile(path)
    return str(refused.value).replace(f"{path.parent}/", "").splitlines()


def test_a_profile_is_read_with_the_board_beside_it(tmp_path: Path) -> None:
    profile = load_profile(laid_out(tmp_path, profile_text(RAMP, MEASURE)))
    assert (profile.name, profile.revision, profile.board.name) == ("twin/test", "A", "twin")
    assert profile.text == profile_text(RAMP, MEASURE)


def test_a_missing_sheet_is_told_where_the_profile_names_it(tmp_path: Path) -> None:
    path = laid_out(tmp_path, profile_text(RAMP).replace("board.yaml", "bord.yaml"))
    assert file_refusal(path) == [
        "p.yaml:3:1: the board sheet 'bord.yaml' is not there; write its name as seen from the profile"
    ]


def test_a_missing_netlist_is_not_called_a_missing_sheet(tmp_path: Path) -> None:
    path = laid_out(tmp_path, profile_text(RAMP), netlist=None)
    assert file_refusal(path) == ["board.cir: there is no such file; check the name"]


def test_a_profile_of_another_board_is_refused(tmp_path: Path) -> None:
    path = laid_out(tmp_path, profile_text(RAMP).replace("twin/", "single/"))
    assert file_refusal(path) == [
        "p.yaml:1:1: the profile is for 'single', but board.yaml is the sheet of 'twin'; "
        "write 'profile: twin/...', or name the sheet of 'single'"
    ]


def test_what_is_wrong_with_the_sheet_is_told_beside_what_is_wrong_with_the_profile(tmp_path: Path) -> None:
    text = profile_text(RAMP).replace("revision", "revison")
    path = laid_out(tmp_path, text, sheet=SHEET.replace("title", "titel"))
    assert [line.split(":")[0] for line in file_refusal(path)] == ["board.yaml", "p.yaml"]


def test_a_name_no_disk_can_have_is_refused(tmp_path: Path) -> None:
    path = laid_out(tmp_path, profile_text(RAMP).replace("board.yaml", '"a\\0b"'))
    (told,) = file_refusal(path)
    assert told.endswith("it can't be read (embedded null byte); check the path")


@given(text=st.text())
def test_an_arbitrary_text_raises_nothing_else(text: str) -> None:
    with suppress(InputError):
        parse_profile(text, Path("p.yaml"), twin())


SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8),
    st.sampled_from(["15 V ± 1 %", "at most 2 mV", "150 mA", "5 s", "-1 V", "19 V .. 26 V", "INP", "nominal"]),
)  # fmt: skip
WORDS = """profile revision board decision steps rule ramp measure trim inputs to over points load from below ask name
OUTP INN RV101 voltage current line_sweep load_sweep current_limit load_regulation guard_band"""
KEYS = st.sampled_from([word.replace("_", " ") for word in WORDS.split()])
TREES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=15
)


@given(decision=TREES, steps=st.lists(st.dictionaries(KEYS, TREES, max_size=2), max_size=3))
def test_an_arbitrary_tree_of_known_words_raises_nothing_else(decision: object, steps: object) -> None:
    tree = {"profile": "twin/x", "board": "board.yaml", "decision": decision, "steps": steps}
    text = yaml.safe_dump(tree, allow_unicode=True)
    with suppress(InputError):
        parse_profile(text, Path("p.yaml"), twin())


def test_the_shipped_profile_is_a_profile() -> None:
    profile = load_profile(Path(__file__).parents[2] / "profiles" / "dual15" / "full.yaml")
    assert profile.name == "dual15/full"
