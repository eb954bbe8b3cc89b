"""Who may hold tokens. Given and taken by `tipdatum access` on the machine of the service, seen here."""

from fastapi import APIRouter, Request

from service.access.answers import HolderOut, holder_out
from service.access.holders import Holders
from service.store import utc_now
from service.strict import Strict

router = APIRouter(prefix="/v1/holders", tags=["access"])


class HoldersOut(Strict):
    """Every holder there ever was, in order of name."""

    holders: list[HolderOut]


@router.get("", summary="Who may hold tokens")
def list_holders(request: Request) -> HoldersOut:
    """Names, roles and states, never a secret."""
    now = utc_now()
    return HoldersOut(
        holders=[holder_out(each, now) for each in Holders(request.app.state.database, utc_now).all()]
    )
