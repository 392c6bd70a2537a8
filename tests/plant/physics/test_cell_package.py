"""The pack against pybamm: Chen 2020's LG M50 cell and Prada 2013's of iron phosphate.

The cell is solved with its full electrochemistry (single particles with electrolyte); ours is an
open-circuit curve, a series resistance and one RC pair.
"""

import numpy as np
import pytest

from optimizer.study.catalogue import BOARD, CATALOGUE_FOLDER, resolved, shelves
from plant.description.cells import CELL_INTERVALS, open_circuit_voltage
from tests.plant import rig

pybamm = pytest.importorskip("pybamm")

CHARGES = (0.8, 0.5, 0.3)
CELLS = 15
AMPS = 5.0  # 1C of a 5 Ah cell


@pytest.mark.parametrize(("chemistry", "parameters"), [("nmc", "Chen2020"), ("lfp", "Prada2013")])
def test_the_tables_are_the_published_cells_at_every_point(chemistry, parameters):
    values = pybamm.ParameterValues(parameters)
    empty_n, full_n, full_p, empty_p = pybamm.lithium_ion.get_min_max_stoichiometries(values)
    electrodes, kelvin = pybamm.LithiumIonParameters(), values["Initial temperature [K]"]

    def potential(electrode, empty, full, charge):
        at = pybamm.Scalar(empty + charge * (full - empty))
        return float(values.evaluate(electrode.prim.U(at, kelvin)))

    for charge in np.linspace(0.0, 1.0, CELL_INTERVALS + 1):
        rest_v = potential(electrodes.p, empty_p, full_p, charge)
        rest_v -= potential(electrodes.n, empty_n, full_n, charge)
        assert open_circuit_voltage(charge, chemistry) == pytest.approx(rest_v, abs=1e-4)


@pytest.fixture(scope="module")
def cell():
    """Return the solved voltage at rest and under 1C for 20 s, by charge: (time s, volts)."""
    pybamm.set_logging_level("ERROR")
    found = {}
    for charge in CHARGES:
        model = pybamm.lithium_ion.SPMe()
        values = pybamm.ParameterValues("Chen2020")
        values["Current function [A]"] = AMPS
        simulation = pybamm.Simulation(model, parameter_values=values)
        time_s = np.linspace(0.0, 20.0, 81)
        solution = simulation.solve(time_s, initial_soc=charge)
        found[charge] = (
            float(solution["Battery open-circuit voltage [V]"].entries[0]),
            time_s,
            solution["Battery voltage [V]"](time_s),
        )
    return found


@pytest.mark.parametrize("charge", CHARGES)
def test_the_open_circuit_voltage_is_that_of_the_cell(cell, charge):
    ridden = rig.run(
        rig.QUIET | rig.HELD | {"charge_ratio_now": charge, "standby_power_w": 0.0}, seconds=0.04
    )

    # Between the points of our table the curve is straight; these lie on points.
    assert ridden.end["source_v"][0] / CELLS == pytest.approx(cell[charge][0], abs=1e-3)


@pytest.mark.parametrize("charge", CHARGES)
def test_ten_seconds_under_load_sag_as_the_cell_does(cell, charge):
    rest_v, time_s, volts = cell[charge]
    sag_v = rest_v - float(np.interp(10.0, time_s, volts))
    # The cell's own numbers make the pack: what falls at once, and what follows, from its 0.25 s
    # and 20 s; the time constant is where the slow part has reached 63 % of its 20 s.
    at_once_ohm = (rest_v - float(np.interp(0.25, time_s, volts))) / AMPS
    slow_ohm = (rest_v - volts[-1]) / AMPS - at_once_ohm
    share = (rest_v - volts) / AMPS - at_once_ohm
    slow_s = float(np.interp(0.63 * slow_ohm, share[1:], time_s[1:]))
    pack = {
        "charge_ratio_now": charge,
        "series_resistance_ohm": CELLS * at_once_ohm,
        "rc_resistance_ohm": CELLS * slow_ohm,
        "per_rc_time": 1.0 / slow_s,
        "per_charge": 1.0 / (5.0 * 3600.0),
    }
    ridden = rig.run(
        rig.QUIET | rig.HELD | pack | {"standby_power_w": AMPS * CELLS * (rest_v - 0.5 * sag_v)},
        seconds=10.0,
        record=("bus_v", "battery_a"),
        every=100,
    )

    ours_v = rest_v - ridden.signal["bus_v"][-1, 0] / CELLS
    drawn = ridden.signal["battery_a"][-1, 0]
    # One RC pair for the slow part: within 2.5 % of the cell's ten seconds.
    assert ours_v / drawn == pytest.approx(sag_v / AMPS, rel=0.025)


def test_the_cells_ten_second_resistance_is_the_published_one(cell):
    # 28.7 mohm at half charge and 1C: Chen et al. 2020, J. Electrochem. Soc. 167:080534, through
    # the full model; single particles with electrolyte come within 2 %.
    rest_v, time_s, volts = cell[0.5]

    assert (rest_v - np.interp(10.0, time_s, volts)) / AMPS == pytest.approx(0.0287, rel=0.02)


def ten_second_ohm_ah(parameters, rate):
    """Return a published cell's 10 s resistance at half charge times its capacity, in ohm Ah."""
    values = pybamm.ParameterValues(parameters)
    capacity_ah = values["Nominal cell capacity [A.h]"]
    values["Current function [A]"] = rate * capacity_ah
    simulation = pybamm.Simulation(pybamm.lithium_ion.SPMe(), parameter_values=values)
    solution = simulation.solve(np.linspace(0.0, 10.0, 41), initial_soc=0.5)
    rest_v = float(solution["Battery open-circuit voltage [V]"].entries[0])
    return (rest_v - float(solution["Battery voltage [V]"].entries[-1])) / rate


@pytest.mark.parametrize("rate", [0.5, 2.0])
def test_one_resistance_serves_half_and_twice_the_current_within_a_fifth(cell, rate):
    # The reaction's own drop grows slower than the current, so a straight line through 1C sags
    # too little below it and too much, the safe side, above.
    rest_v, time_s, volts = cell[0.5]
    at_one = rest_v - float(np.interp(10.0, time_s, volts))

    ratio = ten_second_ohm_ah("Chen2020", rate) / at_one

    assert ratio == pytest.approx(1.0, abs=0.2)
    assert (ratio < 1.0) == (rate > 1.0)


@pytest.mark.parametrize("name", sorted(shelves()["batteries"]))
def test_catalogued_packs_lie_between_published_cells_for_power_and_for_energy(name):
    # By resistance times capacity, which no number of cells changes. Power: Ecker et al. 2015,
    # J. Electrochem. Soc. 162:A1836; energy: LG M50, Chen et al. 2020. Both through pybamm.
    pack = resolved(name, BOARD.parts["battery"], path=CATALOGUE_FOLDER, key="batteries")
    slow_ohm = pack["rc_resistance_ohm"] * -np.expm1(-10.0 / pack["rc_time_s"])
    per_cell = (pack["series_resistance_ohm"] + slow_ohm) / pack["cells_in_series"]

    ours = per_cell * pack["capacity_ah"]

    assert ten_second_ohm_ah("Ecker2015", 1.0) < ours < ten_second_ohm_ah("Chen2020", 1.0)
