"""A length of a request in metres, with every fault at its place."""

from kinematics.errors import Fault, Refused
from kinematics.estimates import MOST
from kinematics.units import LONGEST_M, LengthUnit, to_metres


def metres_within(value: float | str, units: str, where: str, most: float) -> float:
    """Metres of a length as written, at most `most` (m) either way.

    Raises `Refused` at `where`: as `to_metres`, and "length-absurd".
    """
    try:
        found = to_metres(value, LengthUnit(units))
    except Refused as refused:
        raise Refused(
            Fault(f.code, where, f.found, f.expected, f.advice, f.numbers) for f in refused.faults
        ) from None
    if abs(found) > most:
        limit = f"{most / 1000:g} km" if most >= 1000 else f"{most:g} m"
        raise Refused([
            Fault("length-absurd", where, f"{value} {units}", f"at most {limit} either way",
                  "check the unit and the decimal point", {"length_m": found, "most_m": most})
        ])  # fmt: skip
    return found


def uncertainty_within(value: float | str | None, units: str, where: str) -> float | None:
    """Metres of a standard uncertainty as written, None where none was: a size, at most a benchmark's of `Estimates`.

    Raises `Refused` at `where`: as `to_metres`, and "out-of-range".
    """
    if value is None:
        return None
    most = MOST["benchmark"]
    found = metres_within(value, units, where, LONGEST_M)
    if not 0.0 <= found <= most:
        raise Refused([
            Fault("out-of-range", where, f"{value} {units}", f"a standard uncertainty, 0 to {most:g} m",
                  "check the sign, the unit and the decimal point", {"length_m": found, "most_m": most})
        ])  # fmt: skip
    return abs(found)  # no minus on a zero
