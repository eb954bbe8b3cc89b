"""How `r0003` was made: a data folder as the release of store revision 0003 left it, and what that release answered.

With that release's own code, commit 48020e4, whose folder is the working one and first on the path:

    git worktree add --detach ../r0003 48020e4
    cp tests/service/upgrade/make_r0003.py ../r0003/tests/service/ && cd ../r0003
    PYTHONPATH=. python -m tests.service.make_r0003 OUT

OUT/rows.sql is the database as SQL text, OUT/answers.json what was asked of it and answered. No test runs this.
"""

import json
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from service.access.caller import Role
from service.access.holders import Holders
from service.app import create_app
from service.settings import Settings
from service.store import utc_now
from tests.service.api.checking import level_body
from tests.service.api.doing import Client, JobDoer, edge_at, opened
from tests.service.api.touching import BUCKET, MACHINE, added, body, revisions

Json = dict[str, Any]


def dug(client: Client) -> JobDoer:
    """A pit with everything in it: two setups, strikes, a withdrawn check, a slope with a station, a staff."""
    job = opened(client, "pump-house", "m", datum="the slab's own", estimates={"contact_mm": 3.0}).equipped()
    job.post("benchmarks", {"name": "nail", "elevation": 100.42, "units": "m", "uncertainty": 0.002})
    job.touch(-1.62)
    job.target("footing", 1.42)
    job.target("drain", 1.3, along_percent=-1.5)
    job.station("drain", 0.0, edge_at(-2.9))
    for at in (-3.04, -3.03, -2.95):
        job.post("checks", {"target": "footing", "pose": edge_at(at), "units": "m"})
    job.withdraw(11)
    job.strike(0.4)
    job.move()
    job.strike(0.55)
    job.touch(-1.47, purpose="check")
    job.turning_point("kerb", -1.9)
    job.post("checks", {"target": "footing", "pose": edge_at(-2.9, -75.0), "units": "m"})
    job.post("rod-checks", level_body(job, 99.57, edge_at(-1.9)))
    job.post("rules", {"rules": {"age_limit_s": 3.0}})
    return job


def trench(client: Client) -> JobDoer:
    """Another, in feet and inches, with a sloping laser plane."""
    job = opened(client, "trench", "ftin").equipped(1.0)
    job.touch(-1.7)
    job.target("pipe", 1.2)
    job.strike(0.35)
    return job


def questions(jobs: list[JobDoer]) -> Iterator[tuple[str, str, Json | None]]:
    """(method, path, body) of what is asked."""
    yield "GET", "/v1/jobs", None
    for job in jobs:
        for what in ("", "/events?limit=1000", "/benchmarks", "/targets", "/level-book", "/checks", "/checks/summary",
                     "/certificates"):  # fmt: skip
            yield "GET", f"{job.path}{what}", None
        pose = {"pose": edge_at(-2.5), "units": job.units}
        for target in (None, *[each["name"] for each in job.get("targets")]):
            more = {} if target is None else {"target": target}
            if target == "drain":
                more |= {"station": 1.0}
            for what in ("readouts", "uncertainties"):
                yield "POST", f"{job.path}/{what}", pose | more
    for kind, names in (
        ("machines", ("crawler-14t", "midi-8t", MACHINE)),
        ("attachments", ("tilting-1800", BUCKET)),
    ):
        for name in names:
            for each in jobs[0].client.get(f"/v1/{kind}/{name}/revisions"):
                yield "GET", f"/v1/{kind}/{name}/revisions/{each['revision']}", None
    yield "GET", "/v1/calibrations", None
    yield (
        "POST",
        "/v1/poses",
        edge_at(-1.62) | {"machine": "crawler-14t", "attachment": "tilting-1800", "units": "m"},
    )


def asked(client: Client, method: str, path: str, what: Json | None) -> Json:
    answer = client.http.request(method, path, **({} if what is None else {"json": what}))
    if answer.status_code != 200:
        raise RuntimeError(f"{method} {path}: {answer.text}")
    return {"method": method, "path": path, "body": what, "answer": answer.json()}


def main() -> None:
    """Make it."""
    out = Path(sys.argv[1])
    out.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        with Client(create_app(Settings(data_folder=Path(folder)))) as client:
            added(client)
            applied = client.post("/v1/calibrations/applied", body() | revisions(client))
            jobs = [dug(client), trench(client)]
            told = [asked(client, *each) for each in questions(jobs)]
            told.append(asked(client, "GET", f"/v1/calibrations/{applied['id']}", None))
            holders = Holders(client.app.state.database, utc_now)
            token = holders.create("vera", [Role.VIEWER], [], None).credential.text
        with closing(sqlite3.connect(Path(folder) / "tipdatum.sqlite")) as database:
            (out / "rows.sql").write_text("\n".join(database.iterdump()) + "\n", encoding="utf-8")
    document = {"token": token, "asked": told}
    (out / "answers.json").write_text(
        json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main()
