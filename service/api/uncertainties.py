"""The uncertainty of a readout as a budget: every source by name, what would help, and Monte Carlo to check it."""

import math
from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.account import Account, account, helps
from kinematics.errors import Fault, Refused, refuse
from kinematics.estimates import Estimates
from kinematics.monte_carlo import Spread, spread
from kinematics.parameters import EDGE_POINTS
from kinematics.propagation import coverage
from kinematics.readout import LINES, Aim, fall_of
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of, with_standard
from kinematics.trials import Trials, trials
from kinematics.trust import Trust
from kinematics.trust_rates import CUT, SLOPE
from service.book import decide
from service.book import payloads as p
from service.book import requests as q
from service.book.posing import swing_of
from service.book.seen import observed, taken_since
from service.book.state import JobState
from service.book.trusting import Chain, Sets, chain_of, sets_of
from service.strict import Strict, example
from service.text import pointer

from .answers import ADVISORY, Reference, reference
from .door import KeeperDep
from .jobs import JobId
from .readouts import aim_of, read_line
from .trust import DEAD_CENTRE, Floats, in_words

router = APIRouter(prefix="/v1/jobs/{job}", tags=["readouts"])
MOST_TRIALS = 200_000
MOST_SOURCES = 200
_POSE = {
    "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
    "attitude_deg": {"pitch": 0.6, "roll": -0.4},
}
Of = Literal["cut_fill", "elevation", "cross_slope"]
_DEG = math.degrees(1.0)


class CorrelationIn(Strict):
    """Two sources that err together."""

    one: Annotated[
        str, Field(max_length=80, description="A source that stays as it is: a zero, a dimension.")
    ]
    other: Annotated[str, Field(max_length=80, description="Another.")]
    coefficient: Annotated[float, Field(ge=-1, le=1, description="1: alike; -1: opposite.")]


class UncertaintiesIn(q.ReadoutIn):
    """A pose, as for a readout, and which of its numbers is to be trusted."""

    model_config = ConfigDict(json_schema_extra=example({
        "pose": _POSE, "target": "bottom of footing", "units": "m", "edge_point": "centre",
        "standard": {"boom.zero": 0.02, "boom_length": 1.0}, "trials": 20_000,
    }))  # fmt: skip
    of: Of | None = Field(None, description="Left out: cut or fill where a target is named, else elevation.")
    edge_point: Literal["left", "centre", "right"] = Field(
        "centre", description="Of the line; no matter for cross_slope."
    )
    coverage_percent: float = Field(95.0, ge=1, lt=100, description="Of the interval that is told.")
    standard: dict[Annotated[str, Field(max_length=80)], Annotated[float, Field(ge=0)]] = Field(
        default_factory=dict, max_length=MOST_SOURCES,
        description="What if: other standard uncertainties than the profiles', by source; mm for lengths, at most 1000, "
        "else deg, at most 10. Of a drift: over the temperature that the job allows for. Of pin_slop and coupler_play: "
        "the standard uncertainty, not the whole clearance or play, but that over the square root of 12.",
    )  # fmt: skip
    correlations: list[CorrelationIn] = Field(
        default_factory=list, max_length=MOST_SOURCES,
        description="What if: sources of the present stand that err together, in place of what a calibration found of a "
        "pair. A source named in `standard` keeps only what is said of it here.",
    )  # fmt: skip
    trials: int | None = Field(
        None, ge=1000, le=MOST_TRIALS,
        description="So many repetitions with drawn errors, through every formula as it is; left out: none.",
    )  # fmt: skip
    seed: int = Field(1, ge=0, le=2**31, description="One seed, one draw.")


class KindOut(TypedDict):
    """A kind of source."""

    part: str
    standard: Annotated[float, Field(description="In `unit`.")]
    share_percent: Annotated[float, Field(description="Of the variance; they add up to 100.")]


class SourceOut(TypedDict):
    """One source."""

    source: str
    part: str
    uncertainty: Annotated[
        float,
        Field(
            description="Its own standard uncertainty, in mm, or deg of an angle; of pin_slop and coupler_play the whole "
            "clearance or play over the square root of 12."
        ),
    ]
    uncertainty_unit: str
    rate: Annotated[
        float,
        Field(
            description="Of the number told by the source, through the whole chain: `unit` per mm, or deg."
        ),
    ]
    standard: Annotated[float, Field(description="What it brings, in `unit`: rate times uncertainty.")]
    share_percent: float


class HelpOut(TypedDict):
    """What would make it better."""

    words: str
    standard: Annotated[float, Field(description="What it would then be, in `unit`.")]


class MonteCarloOut(Strict):
    """The same by repetition with drawn errors (GUM supplement 1)."""

    trials: int
    lost: int = Field(
        description="Draws that no pose answers to; at most one in a hundred, else there is no answer."
    )
    mean: float = Field(description="Of the deviations: what bends in the formulas would show here.")
    standard: float
    low: float = Field(description="Ends of the interval about `value`, with as many draws below as above.")
    high: float
    seed: int


class UncertaintiesOut(Strict):
    """One number's uncertainty. Numbers in `unit`: mm, or percent of a cross-slope."""

    job: str
    seq: int
    machine: Reference | None
    attachment: Reference | None
    of: Of
    edge_point: str
    unit: Literal["mm", "percent"]
    value: float
    standard: float = Field(description="Combined standard uncertainty (GUM).")
    coverage_percent: float
    factor: float = Field(description="Half the interval over the standard uncertainty; normal distribution.")
    low: float = Field(description="The coverage interval: value less and plus factor times standard.")
    high: float
    parts: list[KindOut] = Field(description="By kind, largest first.")
    sources: list[SourceOut] = Field(
        description="One by one, largest first, down to a ten-thousandth of the variance. What came anew with touches "
        "and strikes, or of another machine, has names that begin with before."
    )
    would_help: list[HelpOut] = Field(
        description="Computed, the most helpful first, at best; of the middle of the line, its cut or fill, without a "
        "target its elevation. Empty for other numbers."
    )
    assumed: list[str] = Field(
        description="What neither profiles nor job give, taken as usual. Measure what matters."
    )
    estimates: p.Estimates
    monte_carlo: MonteCarloOut | None
    advisory: str


@router.post("/uncertainties", summary="How far to trust a readout, source by source")
def budget(job: JobId, asked: UncertaintiesIn, keeper: KeeperDep) -> UncertaintiesOut:
    """The uncertainty of elevation, cut or fill, or cross-slope of a pose: all that it hangs on. Computed, not recorded.

    curl -s localhost:8311/v1/jobs/pump-house/uncertainties -H 'content-type: application/json' -d @uncertainties.json
    """
    state = keeper.state(job)
    now = keeper.now()
    when = observed(asked.observed_at, now, state.rules.age_limit_s)
    taken_since(state, when, now, state if asked.observed_at is None else None)
    decide.same_units(state, asked.units)
    found = decide.posed(keeper.fit(state), asked.pose, "pose")
    aim = aim_of(state, asked.target, asked.station)
    swing = swing_of(asked.pose)
    chain = _chain(state, sets_of(keeper, state), aim, asked)
    told = read_line(found, state, aim, asked.line, swing)
    of = asked.of or ("elevation" if aim is None else "cut_fill")
    point = told.points[asked.edge_point]
    values = {
        "elevation": point.elevation, "cut_fill": None if point.cut_fill is None else point.cut_fill.value_m,
        "cross_slope": found.cross_slope,
    }  # fmt: skip
    value = values[of]
    if value is None:
        raise Refused(told.why_not or [_no_such_number(of)])
    if chain.why and of != "cross_slope":
        raise Refused(chain.why)
    fall = fall_of(found, state.book, aim, swing)
    trust = chain.trust(asked.line, fall, cut=of == "cut_fill")
    said = trust.said(readings_of(chain.sensors, found))
    if not trust.judge(said, found.q):
        raise Refused([DEAD_CENTRE])
    made = account(
        trust,
        SLOPE if of == "cross_slope" else EDGE_POINTS.index(asked.edge_point) + CUT * (of == "cut_fill"),
    )
    scale = 100.0 if of == "cross_slope" else 1e3
    half = scale * coverage(made.standard, probability=asked.coverage_percent / 100.0)
    name = LINES[asked.line][EDGE_POINTS.index(asked.edge_point)]
    return UncertaintiesOut(
        job=job, seq=state.seq, machine=reference(state.machine), attachment=reference(state.attachment), of=of,
        edge_point=asked.edge_point, unit="percent" if of == "cross_slope" else "mm", value=scale * value,
        standard=scale * made.standard, coverage_percent=asked.coverage_percent,
        factor=coverage(1.0, probability=asked.coverage_percent / 100.0),
        low=scale * value - half, high=scale * value + half, parts=_parts(made, scale),
        sources=_sources(made, trust, scale),
        would_help=_helps(trust, chain, asked, of), assumed=list(chain.assumed), estimates=state.estimates,
        monte_carlo=None if asked.trials is None else _repeated(chain, said, name, asked, of, scale, value, fall),
        advisory=ADVISORY,
    )  # fmt: skip


def _no_such_number(of: str) -> Fault:
    return Fault(
        "invalid-request", "of", f"{of} without a target", "elevation or cross_slope, or a target", "name one"
    )


def _chain(state: JobState, sets: Sets, aim: Aim | None, asked: UncertaintiesIn) -> Chain:
    """What the readout rests on, with what is asked in place of what is known; faults at their place in the body."""
    together = [(each.one, each.other, each.coefficient) for each in asked.correlations]

    def reckoned(sensors: SensorSet, estimates: Estimates) -> Sources:
        faults: list[Fault] = []
        try:
            sources = sources_of(sensors, estimates, together, apart=asked.standard)
        except Refused as refused:
            faults += refused.faults
            sources = sources_of(sensors, estimates)
        in_m = dict(zip(sources.names, sources.lengths.tolist(), strict=True))
        in_si = {
            name: value / 1e3 if in_m.get(name) else math.radians(value)
            for name, value in asked.standard.items()
        }
        try:
            sources = with_standard(sources, in_si)
        except Refused as refused:  # a name has a dot in it
            faults += [replace(each, where=pointer(["standard", each.where])) for each in refused.faults]
        refuse(faults)
        return sources

    return chain_of(state, sets, aim, reckoned)


def _parts(made: Account, scale: float) -> list[KindOut]:
    whole = made.standard**2
    return [
        {
            "part": kind.value,
            "standard": scale * math.sqrt(max(part, 0.0)),
            "share_percent": 100.0 * part / whole,
        }
        for kind, part in made.by_kind().items()
    ]


def _sources(made: Account, trust: Trust, scale: float) -> list[SourceOut]:
    parts = made.combined.parts[0]
    whole = made.standard**2
    order = np.argsort(-np.abs(parts), kind="stable").tolist()
    lengths = trust.sources.lengths.tolist()
    found: list[SourceOut] = []
    for i in order:
        if abs(parts[i]) < 1e-4 * whole or whole == 0.0:
            break
        by_length = i >= len(lengths) or lengths[i]
        per = 1e3 if by_length else _DEG
        standard, rate = float(made.inputs.standard[i]), float(made.rates[i])
        found.append({
            "source": made.inputs.names[i], "part": made.kinds[i].value, "uncertainty": per * standard,
            "uncertainty_unit": "mm" if by_length else "deg", "rate": scale * rate / per,
            "standard": scale * abs(rate) * standard, "share_percent": 100.0 * float(parts[i]) / whole,
        })  # fmt: skip
    return found


def _helps(trust: Trust, chain: Chain, asked: UncertaintiesIn, of: Of) -> list[HelpOut]:
    """What would help the middle of the line; of other numbers it is not reckoned."""
    told = "elevation" if trust.cut is None else "cut_fill"
    if of != told or asked.edge_point != "centre":
        return []
    point = chain.again[told == "cut_fill"][0]
    by_length = dict(zip(trust.sources.names, trust.sources.lengths.tolist(), strict=True))
    return [
        {
            "words": in_words(each.remedy, each.source, point, by_length=by_length[each.source]),
            "standard": 1e3 * each.standard,
        }
        for each in helps(trust)
    ]


def _too_few(percent: float, done: Trials) -> Fault:
    return Fault(
        "too-few-draws", "coverage_percent", f"{percent!r} percent of {done.count - done.lost} trials",
        "as many trials that some lie beyond", "ask for more trials, or a narrower interval",
    )  # fmt: skip


def _repeated(
    chain: Chain, said: Floats, point: str, asked: UncertaintiesIn, of: Of, scale: float, value: float,
    fall: tuple[float, float],
) -> MonteCarloOut:  # fmt: skip
    count = asked.trials or MOST_TRIALS
    terms, cut = chain.terms
    done = trials(
        chain.sensors, chain.sources, chain.estimates, terms or {}, chain.observed, chain.benchmarks, said, point, count,
        asked.seed, cut, fall=fall, owners=chain.owners,
    )  # fmt: skip
    of_which = {"elevation": done.deviations, "cut_fill": done.cuts, "cross_slope": done.cross_slopes}[of]
    assert of_which is not None  # noqa: S101  # there is a value
    try:
        told: Spread = spread(of_which, asked.coverage_percent / 100.0)
    except Refused:
        raise Refused([_too_few(asked.coverage_percent, done)]) from None
    return MonteCarloOut(
        trials=done.count, lost=done.lost, mean=scale * told.mean, standard=scale * told.standard,
        low=scale * (value + told.low), high=scale * (value + told.high), seed=asked.seed,
    )  # fmt: skip
