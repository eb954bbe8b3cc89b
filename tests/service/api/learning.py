"""Lessons asked for and answered, in few words."""

from collections.abc import Iterator
from typing import Any

from .doing import Client, Json

PATH = "/v1/lessons"
PAIR = {"machine": "crawler-14t", "attachment": "digging-1500"}


def told(client: Client, machine: str, attachment: str, units: str = "m") -> Json:
    found: Json = client.get(f"{PATH}?machine={machine}&attachment={attachment}&units={units}")
    return found


def steps(lessons: Json) -> Iterator[tuple[str, Json]]:
    for lesson in lessons["lessons"]:
        for step in lesson["steps"]:
            yield lesson["id"], step


def step_of(lessons: Json, lesson: str, step: str) -> Json:
    [found] = [each for name, each in steps(lessons) if (name, each["id"]) == (lesson, step)]
    return found


def answered(client: Client, lesson: str, step: str, answer: Any, **of: str) -> Json:
    body = PAIR | {"units": "m", "step": step, "answer": answer} | of
    found: Json = client.post(f"{PATH}/{lesson}/answers", body, 200)
    return found
