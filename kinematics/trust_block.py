"""How far one readout is to be trusted, compiled: what the rates by every source add up to, and what would better it.

All of it by the sum that `propagation` uses for anything (`shares.write_shares`).
"""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .drive_block import Records
from .parameters import NAMES
from .place_rates import COLUMNS, JOINTS
from .sensing_rates import sensed_rates
from .shares import write_shares
from .sources import KINDS, Kind
from .trust_rates import CUT, ROWS, SLOPE, write_rates

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

REMEDIES = ("touch", "zero", "measure", "level")
"""What may be done: touch the benchmark again, in the posture of this readout; set a sensor's zero anew; measure a
dimension anew; have the laser's level checked."""
NONE = 255
TOLD = 5
"""How many parts are told in a readout."""
WORTH = 0.9
"""Of the standard uncertainty: what leaves more is not worth telling."""
REZEROED_RAD, REZEROED_M = math.radians(0.02), 0.0005
TAPED_M, TAPED_RAD = 0.001, math.radians(0.05)
RELEVELLED = 0.3
"""What can be done with care (common practice, no source): zeros by half a turn or a good level, pins by a steel tape; of
the laser's tilt what a turn test and its adjustment leave."""
_OWN = 9
"""The first of `KINDS` are those of sources, in the order in which sources stand; the rest are of the chain alone."""
_ZEROS, _NOISE, _TEMPERATURE, _DIMENSIONS, _SLOP, _LEVEL, _BENCHMARK = (
    KINDS.index(kind)
    for kind in (
        Kind.ZEROS,
        Kind.NOISE,
        Kind.TEMPERATURE,
        Kind.DIMENSIONS,
        Kind.SLOP,
        Kind.LEVEL,
        Kind.BENCHMARK,
    )
)


@compiled
def shares_of(
    rates: Floats, chained: Floats, active: Whole, standard: Floats, root: Floats, c: Floats, spread: Floats,
    shares: Floats,
) -> float:  # fmt: skip
    """The variance of one output through the active sources, and the share of each."""
    for a in range(active.shape[0]):
        c[a] = rates[active[a]] + chained[a]
    write_shares(c, standard, root, spread, shares)
    one = two = three = four = 0.0  # four sums at once: one after another each waits for the last
    even = active.shape[0] // 4 * 4
    for a in range(0, even, 4):
        one += shares[a]
        two += shares[a + 1]
        three += shares[a + 2]
        four += shares[a + 3]
    for a in range(even, active.shape[0]):
        one += shares[a]
    return max((one + two) + (three + four), 0.0)


@compiled
def write_parts(shares: Floats, ends: Whole, rest: Floats, parts: Floats) -> None:
    """The variance by kind, with what `rest` adds to each."""
    for k in range(parts.shape[0]):
        part = rest[k]
        if k < _OWN:
            for a in range(ends[k], ends[k + 1]):
                part += shares[a]
        parts[k] = part


@compiled
def total_of(rest: Floats) -> float:
    """A sum."""
    total = 0.0
    for k in range(rest.shape[0]):
        total += rest[k]
    return total


@compiled
def largest_of(shares: Floats, first: int, end: int) -> int:
    """The active source with the largest share among these, -1 of none."""
    found = -1
    for a in range(first, end):
        if found < 0 or shares[a] > shares[found]:
            found = a
    return found


@compiled
def bettered(share: float, standard: float, to: float) -> float:
    """How much a variance falls where one source, now of this share, is known to `to`; nothing where it is already."""
    return share * (1.0 - (to / standard) ** 2) if standard > to else 0.0


@compiled
def touched_so(
    rates: Floats, height: Floats, active: Whole, ends: Whole, standard: Floats, shares: Floats, contact: float,
    stays: float,
) -> float:  # fmt: skip
    """The variance that a touch in this very posture would leave: what lasts cancels as far as `rates` are those of the
    `height`, what comes anew comes with the touch too, and drift may be as large again when it is read.

    `stays` (m2): what of the point that is touched, and of distances, is left. Correlations of what lasts are left out:
    of a level target nothing of it is left.
    """
    total = contact * contact + stays
    for k in range(_OWN):
        fresh = 1.0 if k == _NOISE or k >= _SLOP else 0.0
        lasts = 1.0 if fresh == 0.0 and k != _TEMPERATURE else 0.0
        for a in range(ends[k], ends[k + 1]):
            up = height[active[a]] * standard[a]
            off = rates[active[a]] * standard[a] - up
            total += lasts * off * off + (1.0 - lasts) * shares[a] + fresh * up * up
    return total


@compiled
def remedy(
    first: int, end: int, rates: Floats, height: Floats, active: Whole, ends: Whole, standard: Floats, lengths: Whole,
    contact: float, stays: float, total: float, shares: Floats, parts: Floats, left: float,
) -> tuple[int, int, float]:  # fmt: skip
    """(which of `REMEDIES` from `first` to before `end`, or `NONE`; the source it is done to; what variance it leaves):
    the one that leaves least, if less than `left`.

    `shares`, `parts` as they are; `height`: the rates of the point's height, `rates` of what is told.
    """
    best, source = NONE, 0
    for which in range(first, end):
        at, after = 0, math.inf
        if which == 0:
            after = touched_so(rates, height, active, ends, standard, shares, contact, stays)
        elif which == 3:
            after = total - parts[_LEVEL] * (1.0 - RELEVELLED * RELEVELLED)
        else:
            kind = _ZEROS if which == 1 else _DIMENSIONS
            a = largest_of(shares, ends[kind], ends[kind + 1])
            if a >= 0:
                at = active[a]
                to_m, to_rad = (REZEROED_M, REZEROED_RAD) if which == 1 else (TAPED_M, TAPED_RAD)
                after = total - bettered(shares[a], standard[a], to_m if lengths[a] != 0 else to_rad)
        if after < left:
            best, source, left = which, at, after
    return best, source, left


NUMBERS = (
    *(f"{point}_{what}_u" for what in ("elevation", "cut") for point in ("left", "centre", "right")), "cross_slope_u",
    *(f"part_{i}" for i in range(TOLD)), "remedied_u",
)  # fmt: skip
"""What `fill_trust` fills, standard uncertainties (m, ratio), NaN where there is no number to trust: of each row of
rates; the largest parts of what is told of the middle of the line, its cut or fill or, without a target, its
elevation; what a remedy leaves of that."""
CHOICES = (*(f"part_{i}" for i in range(TOLD)), "remedy", "source")
"""Which of `KINDS`, `REMEDIES` and sources these are; `NONE` for no more."""
SCALARS, WHOLES = 8, 10
"""What stands first on the desk: pins, slopes ahead and left, contact, the way of wear, what a touch leaves; and of whole
numbers: n, m, rank,
left point, whether there is a height, a cut, whether these owe the same; how many sources are active, how many
of `BETWEEN`, how many of these have a column."""
_PART, _REMEDIED, _REMEDY = NUMBERS.index("part_0"), NUMBERS.index("remedied_u"), CHOICES.index("remedy")
LEAST_SHARE = 0.01
"""Of the variance: a part below a hundredth is not told, since a tenth of the whole it adds half a percent."""


@compiled
def rank_parts(parts: Floats, total: float, numbers: Floats, choices: NDArray[np.uint8]) -> None:
    """The largest parts, largest first; of equal ones the first in `KINDS`."""
    for place in range(TOLD):
        best = NONE
        for kind in range(parts.shape[0]):
            done = parts[kind] < LEAST_SHARE * total or parts[kind] <= 0.0
            for before in range(place):
                done = done or choices[before] == kind
            if not done and (best == NONE or parts[kind] > parts[best]):
                best = kind
        choices[place] = best
        if best != NONE:
            numbers[_PART + place] = math.sqrt(parts[best])


@compiled
def desk_size(n: int, m: int, rank: int, active: int, between: int) -> int:
    """How many numbers the desk of `fill_trust` has, for n numbers said, m sources, correlations of this rank and so
    many columns of `sensed_rates`."""
    given = SCALARS + 5 * active + 2 * len(KINDS) + active * rank
    sensing = (JOINTS + 3 + 1) * between + n
    return given + ROWS * m + sensing + len(COLUMNS) + 3 * active + len(KINDS) + rank + len(NAMES)


@compiled
def lists(whole: Whole) -> tuple[Whole, Whole, Whole, Whole, Whole]:
    """(where each kind's sources end, active sources, which are lengths, each number's case, which of `BETWEEN`)."""
    n, count = whole[0], whole[7]
    ends, at = whole[WHOLES : WHOLES + _OWN + 1], WHOLES + _OWN + 1
    more = at + 2 * count
    return ends, whole[at : at + count], whole[at + count : more], whole[more : more + n], whole[more + n :]


@compiled
def places(desk: Floats, whole: Whole) -> tuple[Floats, ...]:
    """The arrays on a desk: what is given, then what is worked on."""
    n, m, rank, count = whole[0], whole[1], whole[2], whole[7]
    k, between = len(KINDS), n + whole[9]
    at = SCALARS
    standard = desk[at : at + count]
    at += count
    edges = desk[at : at + 2 * count]
    at += 2 * count
    struck = desk[at : at + 2 * count]
    at += 2 * count
    rests = desk[at : at + 2 * k]
    at += 2 * k
    root = desk[at : at + count * rank]
    at += count * rank
    rates = desk[at : at + ROWS * m]
    at += ROWS * m
    dq = desk[at : at + JOINTS * between]
    at += JOINTS * between
    dn = desk[at : at + 3 * between]
    at += 3 * between
    before_by = desk[at : at + between]
    at += between
    skew = desk[at : at + n]
    at += n
    row = desk[at : at + len(COLUMNS)]
    at += len(COLUMNS)
    chained = desk[at : at + count]
    at += count
    c = desk[at : at + count]
    at += count
    shares = desk[at : at + count]
    at += count
    parts = desk[at : at + k]
    at += k
    spread = desk[at : at + rank]
    flat = desk[at + rank :]
    return (
        standard, edges, struck, rests, root, rates, dq, dn, before_by, skew, row, chained, c, shares, parts,
        spread, flat,
    )  # fmt: skip


@compiled
def fill_trust(
    rows: Records, bars: Records, cylinders: Records, said: Floats, q: Floats, records: Records, desk: Floats,
    whole: Whole, numbers: Floats, choices: NDArray[np.uint8],
) -> bool:  # fmt: skip
    """Fill `NUMBERS` and `CHOICES` for readings and the angles that they give; False at a dead centre.

    All that does not change lies on one desk, since a call pays for each array it is handed: `desk`, `whole` as
    `trust.Trust` lays them out.
    """
    numbers[:] = math.nan
    choices[:] = NONE
    (
        standard, edges, struck, rests, root, rates, dq, dn, before_by, skew, row, chained, c, shares, parts,
        spread, flat,
    ) = places(desk, whole)  # fmt: skip
    ends, active, lengths, case, used = lists(whole)
    m, left, count, k = whole[1], whole[3], whole[7], len(KINDS)
    pins, fall, contact, stays = desk[0], (desk[1], desk[2]), desk[3], desk[7]
    back = desk[4], desk[5], desk[6]
    if not sensed_rates(rows, bars, cylinders, said, q, dq, dn, before_by, skew):
        return False
    write_rates(records, flat, q, dq, skew, case, used, left, back, pins, fall, row, before_by, rates)
    sloping = fall[0] != 0.0 or fall[1] != 0.0
    told = 1 if whole[5] != 0 else 0
    alike = whole[6] != 0
    for which in range(2):
        if whole[4 + which] == 0 or (alike and which != told):
            continue
        edge, strikes = (
            edges[which * count : (which + 1) * count],
            struck[which * count : (which + 1) * count],
        )
        rest = rests[which * k : (which + 1) * k]
        for a in range(count):
            chained[a] = edge[a] + strikes[a]
        beyond = total_of(rest)
        for point in range(3):
            at = CUT * which + point
            line = m * (at if sloping else point)
            by = rates[line : line + m]
            total = beyond + shares_of(by, chained, active, standard, root, c, spread, shares)
            numbers[at] = math.sqrt(total)
            if alike:
                numbers[point] = math.sqrt(total - beyond + total_of(rests[:k]))
            if which == told and point == 1:
                write_parts(shares, ends, rest, parts)
                rank_parts(parts, total, numbers, choices)
                best, source, after = remedy(
                    0, len(REMEDIES), by, rates[m : 2 * m], active, ends, standard, lengths, contact, stays, total,
                    shares, parts, total * WORTH * WORTH,
                )  # fmt: skip
                choices[_REMEDY] = best
                choices[_REMEDY + 1] = source
                if best != NONE:
                    numbers[_REMEDIED] = math.sqrt(max(after, 0.0))
    for a in range(count):
        chained[a] = 0.0
    slope = rates[SLOPE * m :]
    numbers[SLOPE] = math.sqrt(shares_of(slope, chained, active, standard, root, c, spread, shares))
    return True
