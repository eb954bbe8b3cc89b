"""Checks by staff, tape and laser in sentences with numbers, in a job's units."""

from collections.abc import Iterator

from kinematics.agreement import FACTOR, Agreement, slip, word_of
from kinematics.units import LengthUnit, from_metres, show
from kinematics.wear import Wear
from service.book.staff_payloads import RodChecked, WearChecked

HOUR_S = 3600.0
FINEST = 7
"""Decimals beyond the millimetre, to a tenth of a nanometre: what is nearer is alike."""


def size(metres: float, units: LengthUnit, finer: int = 0) -> str:
    """A length without a sign, to the millimetre, in feet to the thousandth: differences are read finer than depths.

    `finer`: so many decimals more; of feet and inches then decimal inches.
    """
    if units in (LengthUnit.M, LengthUnit.MM):
        return f"{from_metres(abs(metres), LengthUnit.MM):.{finer}f} mm"
    if units == LengthUnit.FTIN:
        return (
            show(abs(metres), units)
            if finer == 0
            else f"{12.0 * from_metres(abs(metres), LengthUnit.FT):.{1 + finer}f} in"
        )
    return f"{from_metres(abs(metres), units):.{3 + finer}f} ft"


def compared(found: float, limit: float, units: LengthUnit) -> tuple[str, str]:
    """Sizes of what was found and of what it was held against, with as many digits as tell them apart: a verdict never
    stands beside figures that say the other thing. 20.2 and 20.1 mm, not 20 and 20."""
    for finer in range(FINEST):
        told = size(found, units, finer), size(limit, units, finer)
        if told[0] != told[1]:
            return told
    return size(found, units), size(limit, units)


def rod_sentence(told: RodChecked, units: LengthUnit) -> str:
    """One rod check: by how much the tool reads too high or low, and whether that was to be expected."""
    expected = (told.own_m**2 + told.common_m**2) ** 0.5
    word = word_of(told.difference_m, expected)
    found, half = compared(told.difference_m, FACTOR * expected, units)
    return f"{_off(told.difference_m, found, units)}; within {half} was to be expected (95 %): {word} its uncertainty"


def _off(difference: float, told: str, units: LengthUnit) -> str:
    """`told`: its size, as it is printed."""
    if size(difference, units) == size(0.0, units):
        return "tool and staff agree"
    return f"the tool reads {told} too {'high' if difference > 0 else 'low'}"


def suspicion(told: RodChecked) -> str | None:
    """What a difference looks like that is no measurement's: "0.610 m = 2.00 ft: mistyped?"; None where it does not."""
    found = slip(told.difference_m, (told.own_m**2 + told.common_m**2) ** 0.5)
    if found is None:
        return None
    metres = abs(told.difference_m)
    if found.unit == "ft":
        return f"{metres:.3f} m = {from_metres(metres, LengthUnit.FT):.2f} ft: mistyped?"
    return f"{metres:.3f} m, all but {found.count:g} m: staff misread, or mistyped?"


def wear_sentence(told: WearChecked, units: LengthUnit) -> str:
    """One wear check, with what it does to heights."""
    worn = Wear(told.wear_m, told.standard_m)
    way = size(told.profile_m, units) if told.taped_m is None else size(told.taped_m, units)
    how = f"taped {way} from the bucket pin" if told.point is None else f"set down on {told.point}"
    if told.against:
        how += f", against {' and '.join(told.against)} (what both have worn alike does not show)"
    if not worn.seen:
        return (
            f"{told.edge_point} as the profile has it, {how}: {size(worn.amount, units)} off, within "
            f"{size(worn.within, units)}"
        )
    if worn.amount < 0:
        return (
            f"{told.edge_point} is {size(worn.amount, units)} longer than the profile has it, {how}, within "
            f"{size(worn.within, units)}: another edge? Measure the profile anew"
        )
    return (
        f"{told.edge_point} has worn {size(worn.amount, units)}, {how}, within {size(worn.within, units)}: pointing "
        f"straight down it is read up to {size(worn.amount, units)} too low, so that the dig ends as much too high; "
        "a benchmark touched with this edge in the posture of the dig cancels it. Measure the profile anew"
    )


def together_sentences(found: Agreement, units: LengthUnit) -> Iterator[tuple[str, bool]]:
    """What rod checks say together, bias, spread, drift: a sentence, and whether it is to be warned of."""
    mean, limit = compared(found.mean, found.bias.limit, units)
    word = "within" if found.bias.passed else "not within"
    yield (
        f"mean of {found.count} rod checks: {_off(found.mean, mean, units)}, {word} its uncertainty of {limit} (95 %)",
        not found.bias.passed,
    )
    if not found.shifted.passed:
        shift, explained = compared(found.mean, found.shifted.limit, units)
        yield (
            f"the mean of {shift} is more than their scatter explains, {explained} (t test, 95 "
            "%): one offset, most likely of the touch that sets the height",
            False,
        )
    word = "no more" if found.scatter.passed else "more"
    spread, allowed = compared(found.spread, found.scatter.limit, units)
    yield (
        f"they scatter by {spread} (standard deviation), {word} than their uncertainty allows, "
        f"{allowed} (chi-square test, 95 %)",
        not found.scatter.passed,
    )
    if found.drift is None:
        yield "too few rod checks, or all at once, to tell a drift", False
        return
    if found.drift.test.passed:
        least = size(found.drift.span * found.drift.least, units)
        yield (
            f"no drift is seen; one of {least} from the first check to the last would be, nine times in ten (t test "
            "of the line, 95 %)",
            False,
        )
    else:
        rate, way = size(HOUR_S * found.drift.slope, units), "higher" if found.drift.slope > 0 else "lower"
        yield (
            f"the tool reads {rate} {way} every hour, {size(found.drift.change, units)} from the first check to the "
            "last (t test of the line, 95 %)",
            True,
        )
