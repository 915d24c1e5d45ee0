"""The boards adj3t and bat5 on the simulated bench, and the hand formulas of their sheets."""

from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import pytest

from simulated.circuit import Circuit, LoadEnd, SupplyEnd, SupplySetting, read_netlist
from station.envelope import Envelope
from station.lines import Outcome
from station.opening import open_simulated
from station.profile import Profile, load_profile
from station.program import compiled
from station.rehearsal import highest_volts, rehearsed
from station.report.wording import first_bad
from station.run import Ended, NoRecord, run
from tests.commands import FULL

PROFILES = FULL.parents[1]
REFERENCE = Path(__file__).parents[1] / "reference" / "circuits"
BOARDS = ("adj3t", "bat5")


@cache
def profile_of(name: str) -> Profile:
    return load_profile(PROFILES / name / "full.yaml")


def ended(name: str, seed: int, *faults: str) -> Ended:
    profile = profile_of(name)
    with open_simulated(profile.board, highest_volts(profile), seed=seed, faults=faults) as bench:
        return run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board))


def outcome(named: tuple[str, int]) -> tuple[str, int, Outcome]:
    return (*named, ended(*named).outcome)


def test_healthy_boards_pass():
    wanted = [(name, seed) for name in BOARDS for seed in range(4)]

    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        outcomes = list(workers.map(outcome, wanted))

    assert [found for found in outcomes if found[2] is not Outcome.PASSED] == []


# Where each fault must show first, from what the circuit does (the sheets are cited in tests/reference/circuits):
FITTING = {
    ("adj3t", "R2:open"): ("OUTP", "highest voltage"),  # nothing pulls the adjust pin down: input minus dropout
    ("adj3t", "D1:reversed"): ("OUTP", "before trim"),  # in series: nothing gets in
    ("adj3t", "XU1:rotated"): ("OUTP", "before trim"),  # fed backwards
    ("adj3t", "DLED2:open"): ("INP", "current"),  # 4.65 mA are missing
    ("bat5", "D1:reversed"): ("INP", "resistance"),  # a diode across the battery
    ("bat5", "Q1:swapped"): ("OUTP", "before trim"),
    ("bat5", "DLED1:reversed"): ("TP2", "voltage"),
    ("bat5", "R7:value:x10"): ("OUTP", "load regulation"),  # limits at a tenth of the current
}


@pytest.mark.parametrize(("name", "fault"), FITTING)
def test_a_fault_fails_on_the_line_that_fits_it(name, fault):
    board = ended(name, 11, fault)

    bad = first_bad(board.judgements)

    assert board.outcome is Outcome.FAILED
    assert bad is not None and (bad.line.terminal, bad.line.name) == FITTING[name, fault]


@pytest.mark.parametrize("name", BOARDS)
def test_a_dry_run_of_the_profile_passes(name):
    assert rehearsed(profile_of(name)).ended.outcome is Outcome.PASSED


@pytest.mark.parametrize("name", BOARDS)
def test_the_profile_has_the_netlist_of_the_reference_results(name):
    assert (PROFILES / name / "board.cir").read_text() == (REFERENCE / f"{name}.cir").read_text()


def solved(name: str, volts: float, amps: float = 0.0, **parameters: float) -> dict[str, float]:
    netlist = read_netlist((PROFILES / name / "board.cir").read_text(), name=name)
    circuit = Circuit(netlist, supplies=(SupplyEnd("INP", "inp", "0"),), loads=(LoadEnd("OUTP", "outp", "0"),))
    settings = {"INP": SupplySetting(volts)}
    point = circuit.operating_point(supplies=settings, loads={"OUTP": amps}, parameters=parameters)
    return {"outp": float(point.volts("outp")[0]), "inp amps": float(point.supply_amps("INP")[0])}


# adj3t's sheet, "Hand formula": the figures to compare with are computed here from its R1, R2, Vref and Iadj.
@pytest.mark.parametrize("trim", [0.0, 0.25, 0.555, 0.8, 1.0])
def test_adj3t_follows_the_three_terminal_regulators_formula(trim):
    r2 = 910.0 + 2000.0 * trim + 0.5

    volts = 1.250 * (1.0 + r2 / 330.0) + 50e-6 * r2

    # within 0.2 %, says the sheet (0.205 % at the upper end): reference and (Vin - Vadj), finite loop gain
    assert solved("adj3t", 16.0, trim=trim)["outp"] == pytest.approx(volts, rel=2.1e-3)


def test_adj3t_draws_what_its_branches_add_up_to():
    # the sheet: R1 3.79 mA with 50 uA by way of the adjust pin, R3, DLED2 at 2.03 V, DLED1 at 1.75 V
    amps = 3.79e-3 + 9.0 / 1500 + (9.0 - 2.03) / 1500 + (15.3 - 1.75) / 3300

    assert solved("adj3t", 16.0, trim=0.555)["inp amps"] == pytest.approx(amps, rel=0.01)


def test_bat5_follows_its_divider():
    # the sheet's hand check: Vref 2.502 V x 46001 / 23000.5; the pair's offset takes 0.25 % of it
    volts = 2.502 * 46001.0 / 23000.5

    assert solved("bat5", 7.2)["outp"] == pytest.approx(volts, rel=3e-3)
    assert solved("bat5", 7.2)["outp"] < volts


def test_bat5_draws_what_its_branches_add_up_to():
    # the sheet: R1, tail, R6, divider, R10, LED
    amps = (7.2 - 2.5) / 18e3 + (7.2 - 3.1) / 20e3 + 0.52 / 1e3 + 0.11e-3 + 0.11e-3 + (4.99 - 1.87) / 10e3

    assert solved("bat5", 7.2)["inp amps"] == pytest.approx(amps, rel=0.02)


def test_bat5_drops_out_where_its_sheet_says():
    # 0.1 V below its reading at 7.2 V: input 5.30 V at full load, 300 mA or so; just above it regulates still
    full = 4.9706 / 16.5
    nominal = solved("bat5", 7.2, full)["outp"]

    assert nominal - solved("bat5", 5.32, full)["outp"] < 0.1 < nominal - solved("bat5", 5.28, full)["outp"]
