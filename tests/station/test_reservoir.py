"""The paper figures of raw supplies, against published worked examples; worked_examples.csv names each source."""

from collections.abc import Callable

import pytest

from station.reservoir import (
    RawSupply,
    mean_volts,
    peak_volts,
    ripple_pp,
    ripple_rms,
    transformer_regulation,
)
from tests.station.references import inputs, rows

Given = dict[str, float]
WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}


def centre_tapped(of: Given) -> RawSupply:
    """The sample rail of the examples: 25 V, one diode drop, 4700 uF, 50 Hz."""
    return RawSupply(
        secondary_volts=of["Vsec"],
        mains=of["mains"],
        regulation=of.get("reg", 0.0),
        diodes=int(of["n_d"]),
        drop_volts=of.get("Vf_noload", of.get("Vf", 0.0)),
        farads=of.get("C", 0.0047),
        mains_hertz=of.get("f_ripple", 100.0) / 2.0,
        amps=of.get("I", 0.0),
    )


COMPUTED: dict[str, Callable[[Given], float]] = {
    "RAW-01": lambda of: peak_volts(of["Vrms"]),
    "RAW-02": lambda of: peak_volts(of["Vrms"], int(of["n_diodes"]), of["Vf"]),
    # a reservoir of so many microfarads has the ripple that was asked for
    "RAW-03": lambda of: 1e6 * ripple_pp(of["Vpk"] / of["R"], 2.0 * of["f"], 1.0) / of["dV"],
    "RAW-04": lambda of: mean_volts(of["Vpk"], of["dV"]),
    "RAW-05": lambda of: ripple_pp(of["I"], of["f_ripple"], of["C"]),
    "RAW-06": lambda of: 1e6 * ripple_pp(of["I"], 2.0 * of["f"], 1.0) / of["dV"],
    "RAW-08": lambda of: ripple_rms(of["Vpp"]),
    "RAW-09": lambda of: 100.0 * transformer_regulation(of["Vnl"], of["Vfl"]),
    "RAW-11": lambda of: centre_tapped(of).highest_volts,
    "RAW-12": lambda of: centre_tapped(of).trough_volts,
}


@pytest.mark.parametrize("row", COMPUTED)
def test_a_worked_example_comes_out(row: str) -> None:
    given, result = WORKED[row]
    assert COMPUTED[row](given) == pytest.approx(result, rel=1e-5)


def test_the_quarter_period_rule_is_half_of_ours() -> None:
    """RAW-07: printed by a hobby design page for the same supply as RAW-06; which convention is used has to be said."""
    assert WORKED["RAW-06"][0] == WORKED["RAW-07"][0]
    assert WORKED["RAW-06"][1] == pytest.approx(2.0 * WORKED["RAW-07"][1])


def test_a_regulation_on_the_wrong_base_flatters() -> None:
    """RAW-10: the maker's note of RAW-09 warns of dividing by the voltage without load."""
    given, flattering = WORKED["RAW-10"]
    assert 100.0 * transformer_regulation(given["Vnl"], given["Vfl"]) > flattering


def test_rails_add_up_and_headroom_is_what_the_trough_leaves() -> None:
    """RAW-13 and RAW-14 follow from RAW-11 and RAW-12."""
    highest, trough = (centre_tapped(WORKED[row][0]) for row in ("RAW-11", "RAW-12"))
    assert 2.0 * highest.highest_volts == pytest.approx(WORKED["RAW-13"][1], rel=1e-4)
    headroom = trough.trough_volts - WORKED["RAW-14"][0]["Vout"] - WORKED["RAW-14"][0]["Vdropout"]
    assert headroom == pytest.approx(WORKED["RAW-14"][1], rel=1e-5)


def test_the_half_period_estimate_lies_above_the_exact_triangle() -> None:
    """RAW-15 and RAW-16, a national engineering exam question: 2.105 V estimated, 2.000 V exact, 5 % above."""
    given, estimate = WORKED["RAW-15"]
    assert ripple_pp(given["I"], 1.0 / given["T"], given["C"]) == pytest.approx(estimate, rel=1e-5)
    assert estimate / WORKED["RAW-16"][1] == pytest.approx(1.05, abs=0.005)


@pytest.mark.parametrize("drop_volts", [0.6, 0.7, 0.8, 1.0])
def test_2_x_35_volts_at_rated_voltage_give_about_43_to_54_volts(drop_volts: float) -> None:
    """Common practice, no source: mains ± 10 %, one bridge on a centre-tapped secondary, a reservoir a rail."""
    rail = RawSupply(35.0, 0.10, 0.0, diodes=1, drop_volts=drop_volts, farads=0.02, mains_hertz=50.0)
    low, high = rail.rated_span
    assert low == pytest.approx(43.5, abs=0.5) and high == pytest.approx(53.6, abs=0.5)


def test_without_load_the_transformer_rises_on_top_of_the_mains() -> None:
    rail = RawSupply(35.0, 0.10, 0.08, diodes=1, drop_volts=0.7, farads=0.02, mains_hertz=50.0)
    assert rail.highest_volts == pytest.approx(35.0 * 1.08 * 1.1 * 2.0**0.5 - 0.7)
    assert rail.highest_volts > rail.rated_span[1] + 4.0
