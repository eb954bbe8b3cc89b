"""What a lesson is: steps, each with a pose or two and perhaps a question; and whether an answer to it is right."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from kinematics.errors import Fault, Refused
from kinematics.explain import Side

Kind = Literal["choice", "length", "percent"]
View = Literal["side", "front"]


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """A pose as a request gives it (degrees; elevations as written in the units asked for), and solved."""

    angles_deg: Mapping[str, float]
    pitch_deg: float
    roll_deg: float
    edge_point: str
    origin: float | str
    target: float | str | None
    side: Side


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the answers offered."""

    id: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked before the second pose is seen, and the computed answer.

    `right`: the id of a choice; a length (m), always a size without a sign; or a percent with its sign. `within`: of a
    length the part of it, of a percent the percents, that an answer may be off. `because`: sentences.
    """

    kind: Kind
    words: str
    right: str | float
    because: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    within: float = 0.0


@dataclass(frozen=True, slots=True)
class Step:
    """Words, one pose or a first and a second, which view and which quantities to look at, and perhaps a question."""

    id: str
    words: str
    stands: tuple[Stand, ...]
    look_at: tuple[str, ...]
    question: Question | None = None
    view: View = "side"


@dataclass(frozen=True, slots=True)
class Lesson:
    """`learn`: what one learns, in a sentence."""

    id: str
    title: str
    learn: str
    steps: tuple[Step, ...]

    def step(self, name: str) -> Step:
        """One of its steps. Raises `Refused` "no-such-step"."""
        found = [each for each in self.steps if each.id == name]
        if not found:
            raise Refused([
                Fault("no-such-step", "step", repr(name), "one of: " + ", ".join(each.id for each in self.steps),
                      "see the lesson")
            ])  # fmt: skip
        return found[0]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A lesson that cannot be told with this machine and attachment."""

    id: str
    title: str
    why: str


@dataclass(frozen=True, slots=True)
class Judged:
    """Whether an answer is right; `off`: answered less right (m or percent), None of a choice."""

    right: bool
    off: float | None


def judged(question: Question, answer: str | float) -> Judged:
    """`answer`: the id of a choice, metres or percent, as `question.kind` asks. 0.110 m for 0.100 m is off by 0.010 m.

    Raises `Refused` "not-a-choice"; "out-of-range" for a length with a minus sign.
    """
    if isinstance(question.right, str) or isinstance(answer, str):
        offered = [each.id for each in question.choices]
        if answer not in offered:
            raise Refused([
                Fault("not-a-choice", "answer", repr(answer), "one of: " + ", ".join(offered),
                      "answer with the id of a choice")
            ])  # fmt: skip
        return Judged(answer == question.right, None)
    allowed = question.within
    if question.kind == "length":
        if answer < 0.0:
            raise Refused([
                Fault("out-of-range", "answer", "a length below zero", "how far, without a sign", "leave the sign out",
                      {"length_m": answer})
            ])  # fmt: skip
        allowed *= question.right
    off = answer - question.right
    return Judged(abs(off) <= allowed, off)
