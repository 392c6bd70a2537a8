"""What a user may not expect of a study that is in order: one ride, or a pack beyond its drive."""

from optimizer.study.study import Study
from plant.description.cells import open_circuit_voltage
from plant.kernel.simulate import Ride


def study_warnings(study: Study) -> list[str]:
    """Return what is allowed and hardly meant, a line each."""
    warnings = []
    if len(study.rides) == 1:
        warnings.append(
            f"The study has one ride, {study.rides[0].name}: the search fits that ride alone. Add"
            ' courses and riders, such as courses.use = "all".'
        )
    return warnings + _packs(study)


def _packs(study: Study) -> list[str]:
    """Return where the pack at rest is outside the voltages between which the drive works."""
    board, battery = study.board, study.board.battery
    courses: dict[float, list[str]] = {}
    for ride in study.rides:
        courses.setdefault(_charge(ride), []).append(ride.course.name)
    warnings = []
    for charge, names in sorted(courses.items()):
        rest_v = battery.cells_in_series * float(open_circuit_voltage(charge, battery.chemistry))
        where = f"At a charge of {100.0 * charge:g} %, on {_some(names)}, the pack has"
        if rest_v >= battery.bus_high_v:
            warnings.append(
                f"{where} {rest_v:.1f} V at rest, and the drive cuts out at battery.bus_high_v ="
                f" {battery.bus_high_v:g} V: no ride can succeed. Correct cells_in_series or"
                " bus_high_v."
            )
        elif rest_v > board.taper_start_v:
            warnings.append(
                f"{where} {rest_v:.1f} V at rest, above {board.taper_start_v:.1f} V, from where"
                " braking tapers off (bus_high_v less drive.regen_taper_v): the nose warns from"
                " the start."
            )
        elif rest_v <= battery.bus_low_v:
            warnings.append(
                f"{where} {rest_v:.1f} V at rest, and the drive cuts out at battery.bus_low_v ="
                f" {battery.bus_low_v:g} V: no ride can succeed. Correct cells_in_series or"
                " bus_low_v."
            )
    return warnings


def _charge(ride: Ride) -> float:
    own = ride.course.manoeuvre.charge_ratio
    return ride.board.battery.charge_ratio if own is None else own


def _some(names: list[str]) -> str:
    first, *others = dict.fromkeys(names)
    return f"{first} and {len(others)} more courses" if others else first
