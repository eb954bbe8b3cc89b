"""What is no answer to a lesson's question, what is near enough to be one, and the guide's requests."""

import json
import re
from dataclasses import replace
from importlib.resources import files

import pytest

import service.api.lessons as door
from kinematics.errors import Refused
from kinematics.units import LengthUnit
from service.classroom.lesson import Choice, Question, judged
from service.classroom.lessons import IDS, lessons_of

from .doing import Client, Json, fitted
from .learning import PAIR, PATH, step_of, told

GUIDE = files("service").joinpath("guide", "lessons.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("path", "more", "status", "pointer", "code"),
    [
        ("curls", {}, 404, "", "unknown-lesson"),
        ("curl", {"step": "none"}, 422, "/step", "no-such-step"),
        ("curl", {"answer": "sideways"}, 422, "/answer", "not-a-choice"),
        ("curl", {"answer": 1.0}, 422, "/answer", "not-a-choice"),
        ("curl", {"answer": ""}, 422, "/answer", "not-a-choice"),
        ("curl", {"answer": "u" * 5000}, 422, "/answer", "not-a-choice"),
        ("curl", {"answer": True}, 422, "/answer", "does-not-fit"),
        ("curl", {"answer": None}, 422, "/answer", "does-not-fit"),
        ("curl", {"answer": ["up"]}, 422, "/answer", "does-not-fit"),
        ("curl", {"step": 3}, 422, "/step", "wrong-type"),
        ("curl", {"step": "s" * 41}, 422, "/step", "wrong-length"),
        ("curl", {"step": "how-much", "answer": "0.2"}, 422, "/answer", "not-a-number"),
        ("curl", {"step": "how-much", "answer": "up"}, 422, "/answer", "not-a-number"),
        ("curl", {"step": "how-much", "answer": -0.2}, 422, "/answer", "out-of-range"),
        ("curl", {"step": "how-much", "answer": 233.0}, 422, "/answer", "length-absurd"),
        ("curl", {"step": "how-much", "answer": 0.2, "units": "ftin"}, 422, "/answer", "number-for-feet-inches"),
        ("curl", {"step": "how-much", "answer": "0.2", "units": "ftin"}, 422, "/answer", "bad-feet-inches"),
        ("lean", {"step": "roll", "answer": "-3.5 %"}, 422, "/answer", "not-a-number"),
        ("curl", {"units": "cm"}, 422, "/units", "not-a-choice"),
        ("curl", {"machine": "none"}, 422, "/machine", "unknown-machine"),
        ("curl", {"attachment": "none"}, 422, "/attachment", "unknown-attachment"),
        ("curl", {"lesson": "curl"}, 422, "/lesson", "unknown-field"),
        ("tilt", {}, 422, "", "lesson-left-out"),
    ],
)  # fmt: skip
def test_rubbish(client: Client, path: str, more: Json, status: int, pointer: str, code: str) -> None:
    body = PAIR | {"units": "m", "step": "edge-behind", "answer": "up"} | more
    problem = client.post(f"{PATH}/{path}/answers", body, status)
    [fault] = problem["errors"]
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert fault["expected"]
    assert fault["found"]
    assert len(json.dumps(problem)) < 4000


def test_no_numbers(client: Client) -> None:
    text = json.dumps(PAIR | {"units": "m", "step": "how-much"})[:-1]
    for number in ("NaN", "1e999", "-Infinity"):
        problem = client.raw(f"{PATH}/curl/answers", text + f', "answer": {number}}}', 422)
        assert problem["type"].endswith("#not-finite"), number
    client.raw(f"{PATH}/curl/answers", text, 400)


@pytest.mark.parametrize(
    ("query", "status", "code"),
    [
        ("machine=none&attachment=digging-1500&units=m", 404, "unknown-machine"),
        ("machine=crawler-14t&attachment=digging-1500", 422, "missing-field"),
        ("machine=crawler-14t&attachment=digging-1500&units=cm", 422, "not-a-choice"),
        ("machine=crawler-14t&units=m", 422, "missing-field"),
        ("machine=crawler-14t&attachment=compact-bucket-400&units=m", 422, None),
    ],
)
def test_no_lessons_for(client: Client, query: str, status: int, code: str | None) -> None:
    problem = client.get(f"{PATH}?{query}", status)
    if code is not None:
        assert [each["code"] for each in problem["errors"]] == [code]


def test_a_step_without_a_question(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    found, left_out = lessons_of(fitted(**PAIR), LengthUnit.M)
    silent = tuple(
        replace(each, steps=tuple(replace(step, question=None) for step in each.steps)) for each in found
    )
    monkeypatch.setattr(door, "lessons_of", lambda *_: (silent, left_out))
    body = PAIR | {"units": "m", "step": "radius", "answer": "stick"}
    assert client.refused(f"{PATH}/curl/answers", body, 422) == {"/step": "no-question"}


def test_judged() -> None:
    length = Question("length", "", 0.100, within=0.25)
    assert judged(length, 0.124).right
    assert not judged(length, 0.126).right
    assert judged(length, 0.110).off == pytest.approx(0.010, abs=1e-12)
    assert judged(Question("percent", "", -3.5, within=0.5), -3.1).right
    choice = Question("choice", "", "up", choices=(Choice("up", ""), Choice("down", "")))
    assert judged(choice, "up").off is None
    with pytest.raises(Refused) as refused:
        judged(choice, 1.0)
    assert refused.value.code == "not-a-choice"


def test_the_guide(client: Client) -> None:
    """Its requests work as they stand, its table lists the lessons there are."""
    assert re.findall(r"^\| `([a-z-]+)` \|", GUIDE, flags=re.MULTILINE) == list(IDS)
    [query] = re.findall(r"'localhost:8311(/v1/lessons\?[^']*)'", GUIDE)
    assert len(client.get(query)["lessons"]) == len(IDS) - 1
    asked = re.findall(r"(/v1/lessons/[a-z-]+/answers) \\\n.*?-d '(\{.*?\})'", GUIDE, flags=re.DOTALL)
    assert len(asked) == 2
    for path, body in asked:
        assert client.post(path, json.loads(body), 200)["right"]
    for step in re.findall(r"`(edge-[a-z]+|how-much)`", GUIDE):
        step_of(told(client, **PAIR), "curl", step)
    assert "(/guide/cautions)" in GUIDE
