"""A file's text with one sensor's mounting replaced."""

from typing import Any

from kinematics.errors import Fault, Refused
from kinematics.sensor import Mounting

from .loader import Profile
from .rewriting import Rewriting, known_to, written


def remounted(
    profile: Profile, name: str, mounting: Mounting | float, zero_uncertainty: float | None = None
) -> str:
    """The text of `profile` with another zero of its sensor `name`: `mounting` as `Sensor` has it (rad or m).

    A boom sensor of `nose_up` 3.2 deg and a new one of 0.0646 rad: the line says `nose_up = 3.7013`. `left_up` and
    `to_left` are written where they stand in the text already or are not zero. `zero_uncertainty` (rad or m) replaces the
    file's, to three digits; None leaves that as it is. Raises `Refused` "no-such-sensor",
    "wrong-kind" where the one is a table and the other a number, "missing-key" where the file gives no uncertainty to be
    replaced, and as `Rewriting.done`, `ProfileFaulty` where the text would be none.
    """
    sensors = profile.document.get("sensors") or {}
    if name not in sensors:
        raise Refused([
            Fault("no-such-sensor", name, f"no such sensor in {profile.id}", "one of " + (", ".join(sensors) or "none"))
        ])  # fmt: skip
    told: Any = sensors[name]
    if isinstance(mounting, Mounting) != isinstance(told["mounting"], dict):
        raise Refused([
            Fault("wrong-kind", name, type(mounting).__name__, "the kind of mounting that the profile has")
        ])  # fmt: skip
    text = Rewriting(profile)
    unit = text.units["length" if told["measures"] == "length" else "angle"]
    at = ("sensors", name)
    if isinstance(mounting, Mounting):
        for key in ("nose_up", "left_up", "to_left"):
            put_turn(text, name, key, getattr(mounting, key))
    else:
        text.put((*at, "mounting"), written(mounting, unit))
    if zero_uncertainty is not None:
        if "zero_uncertainty" not in told:
            raise Refused([
                Fault("missing-key", f"{name}.zero_uncertainty", "no such key", "one to be replaced", "add it")
            ])  # fmt: skip
        text.put((*at, "zero_uncertainty"), known_to(zero_uncertainty, unit))
    return text.done()


def put_turn(text: Rewriting, name: str, key: str, turn: float) -> None:
    """One turn (rad) of a case's mounting; one that is 0 and was left out stays so."""
    value = written(turn, text.units["angle"])
    if value != 0.0 or text.stands(("sensors", name, "mounting", key)):
        text.put(("sensors", name, "mounting", key), value)
    else:
        text.wanted["sensors"][name]["mounting"][key] = value
