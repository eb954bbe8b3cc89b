"""Where a search stands as bytes, and back; what another release, or a cut of the power, left is none."""

import io
import json
import zipfile
from typing import Any

import numpy as np

from kinematics.evolution import Standing
from kinematics.search import SearchState

from .plan import NUMBERS_BY, release

_BROKEN = (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile)


def packed(state: SearchState, identity: str) -> bytes:
    """The state of the search of a synthesis of this identity."""
    stands = state.stands
    told: dict[str, Any] = {
        **_made_by(identity), "number": state.number, "may_be": state.may_be, "looked_at": state.looked_at,
        "kept": state.kept, "generations": stands and stands.generations, "generator": stands and stands.generator,
    }  # fmt: skip
    arrays = {"numbers": state.numbers, "goals": state.goals}
    if stands is not None:
        arrays |= {"candidates": stands.candidates, "values": stands.values}
    file = io.BytesIO()
    np.savez(file, told=np.frombuffer(json.dumps(told).encode(), dtype=np.uint8), **arrays)  # type: ignore[arg-type]
    return file.getvalue()


def unpacked(content: bytes, identity: str) -> SearchState | None:
    """The state again; None where it is of another synthesis or release, or not whole: the search then begins anew, and
    comes to the same."""
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as file:
            told = json.loads(file["told"].tobytes())
            if any(told[name] != value for name, value in _made_by(identity).items()):
                return None
            stands = None
            if told["generator"] is not None:
                stands = Standing(file["candidates"], file["values"], told["generations"], told["generator"])
            return SearchState(told["number"], stands, told["may_be"], file["numbers"], file["goals"], told["looked_at"],
                               told["kept"])  # fmt: skip
    except _BROKEN:
        return None


def _made_by(identity: str) -> dict[str, str]:
    return {"identity": identity, **{name: release(name) for name in NUMBERS_BY}}
