"""Checks by staff, tape and laser in sentences with numbers, in a job's units."""

from collections.abc import Iterator

from kinematics.agreement import FACTOR, Agreement, slip, word_of
from kinematics.units import LengthUnit, from_metres, show
from kinematics.wear import Wear
from service.book.staff_payloads import RodChecked, WearChecked

HOUR_S = 3600.0


def size(metres: float, units: LengthUnit) -> str:
    """A length without a sign, to the millimetre, in feet to the thousandth: differences are read finer than depths."""
    if units in (LengthUnit.M, LengthUnit.MM):
        return f"{from_metres(abs(metres), LengthUnit.MM):.0f} mm"
    if units == LengthUnit.FTIN:
        return show(abs(metres), units)
    return f"{from_metres(abs(metres), units):.3f} ft"


def rod_sentence(told: RodChecked, units: LengthUnit) -> str:
    """One rod check: by how much the tool reads too high or low, and whether that was to be expected."""
    expected = (told.own_m**2 + told.common_m**2) ** 0.5
    word = word_of(told.difference_m, expected)
    half = size(FACTOR * expected, units)
    return (
        f"{_off(told.difference_m, units)}; within {half} was to be expected (95 %): {word} its uncertainty"
    )


def _off(difference: float, units: LengthUnit) -> str:
    if size(difference, units) == size(0.0, units):
        return "tool and staff agree"
    return f"the tool reads {size(difference, units)} too {'high' if difference > 0 else 'low'}"


def suspicion(told: RodChecked) -> str | None:
    """What a difference looks like that is no measurement's: "0.610 m = 2.00 ft: mistyped?"; None where it does not."""
    found = slip(told.difference_m, (told.own_m**2 + told.common_m**2) ** 0.5)
    if found is None:
        return None
    metres = abs(told.difference_m)
    if found.unit == "ft":
        return f"{metres:.3f} m = {metres / 0.3048:.2f} ft: mistyped?"
    return f"{metres:.3f} m, all but {found.count:g} m: staff misread, or mistyped?"


def wear_sentence(told: WearChecked, units: LengthUnit) -> str:
    """One wear check, with what it does to heights."""
    worn = Wear(told.wear_m, told.standard_m)
    way = size(told.profile_m, units) if told.taped_m is None else size(told.taped_m, units)
    how = f"taped {way} from the bucket pin" if told.point is None else f"set down on {told.point}"
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
    mean, limit = size(found.mean, units), size(found.bias.limit, units)
    word = "within" if found.bias.passed else "not within"
    yield (
        f"mean of {found.count} rod checks: {_off(found.mean, units)}, {word} its uncertainty of {limit} (95 %)",
        not found.bias.passed,
    )
    if not found.shifted.passed:
        yield (
            f"the mean of {mean} is more than their scatter explains, {size(found.shifted.limit, units)} (t test, 95 "
            "%): one offset, most likely of the touch that sets the height",
            False,
        )
    word = "no more" if found.scatter.passed else "more"
    yield (
        f"they scatter by {size(found.spread, units)} (standard deviation), {word} than their uncertainty allows, "
        f"{size(found.scatter.limit, units)} (chi-square test, 95 %)",
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
