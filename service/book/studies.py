"""Studies of the service: on record in the database, their results in folders, run one after the other by a worker."""

import json
import os
import queue
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal
from uuid import uuid4

from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused
from machine_profiles import Profile, parse_profile
from service.store import Database, NewStudy, StoredStudy, studies
from service.studies.folder import OUTCOME, SEARCHED, Folder, put
from service.studies.plan import Plan
from service.studies.reading import kind_of
from service.studies.results import write_csv, write_parquet
from service.studies.runner import Outcome
from service.studies.study_file import read_study
from service.studies.synthesis_file import Asked, begin, read_synthesis
from service.studies.worker import plan_of

from .keyed import Key, repeated
from .profiles import Profiles

MOST_WAITING = 50
MOST_EVALUATIONS = 1_000_000_000
State = Literal["waiting", "running", "finished", "stopped", "failed"]
_ENDED_WITHIN_S = 10.0
_LOG = "worker.log"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a study is. `summary` of one that is finished or stopped; `faults` why one failed."""

    state: State
    parts: int
    finished: int
    faults: list[dict[str, str]] = field(default_factory=list)
    summary: dict[str, Any] | None = None


class Studies:
    """The studies in a database and the folders beside it; `start` runs what waits, `close` ends it until then."""

    def __init__(
        self, database: Database, profiles: Profiles, folder: Path, now: Callable[[], datetime], dask: str | None
    ) -> None:  # fmt: skip
        self._database, self._profiles, self._folder = database, profiles, folder
        self._now, self._dask = now, dask
        self._queue: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._waiting: set[str] = set()
        self._running: tuple[str, subprocess.Popen[bytes]] | None = None
        self._closing = False
        self._joining = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="studies", daemon=True)

    def start(self) -> None:
        """Run what was submitted here and is not at its end, oldest first."""
        for each in reversed(self._database.read(studies.list_studies)):
            # On a shared database it may have been submitted to another service, which has its folder and runs it.
            elsewhere = self._database.shared and not self._path(each.id).exists()
            if not elsewhere and self.progress(each).state == "waiting":
                self._enqueue(each.id)
        self._thread.start()

    def close(self) -> None:
        """End the worker after the parts under way; it is taken up again at the next start."""
        with self._lock:
            self._closing = True
            running = self._running
        self._queue.put(None)
        if running is not None:
            running[1].terminate()
        self._thread.join(_ENDED_WITHIN_S)
        if running is not None and running[1].poll() is None:
            running[1].kill()
            self._thread.join(_ENDED_WITHIN_S)

    # --- what is asked of it

    def plan(self, text: str) -> Plan | Asked:
        """What a study's text comes to, with the latest revisions of its profiles. `Refused`, each fault at its line."""

        def find(kind: str, name: str) -> Profile:
            latest = self._profiles.latest(kind, name)
            return parse_profile(self._profiles.revision(kind, name, latest.hash).source_text)

        if kind_of(text, "study.toml") == "synthesis":
            return read_synthesis(text, "study.toml", find)
        plan = read_study(text, "study.toml", find)
        if plan.study.evaluations > MOST_EVALUATIONS:
            raise Refused([Fault("too-many-values", "", f"{plan.study.evaluations} evaluations",
                                 f"at most {MOST_EVALUATIONS}", "run it with: tipdatum study FILE")])  # fmt: skip
        return plan

    def repeated(self, key: Key) -> StoredStudy | None:
        """What the same request recorded before, None for nothing. `Refused` "idempotency-conflict" for another one."""
        return self._database.read(lambda session: _repeated(session, key))

    def submit(self, plan: Plan | Asked, actor: str, key: Key) -> StoredStudy:
        """Record a study and let it wait its turn; sent again with its key, the same one is answered. `Refused` as
        `repeated`, "too-many-waiting", and what the disk says."""
        with self._lock:
            if len(self._waiting) >= MOST_WAITING:
                found, advice = (
                    f"{len(self._waiting)} studies that wait",
                    "wait for some to end, or stop them",
                )
                raise Refused([Fault("too-many-waiting", "", found, f"fewer than {MOST_WAITING}", advice)])
        study_id = uuid4().hex
        path = self._path(study_id)
        if isinstance(plan, Asked):
            begin(plan, path)
        else:
            Folder(path).begin(plan, resume=False)
        new = NewStudy(study_id, plan.document.name, (plan.machine.id, plan.machine.content_hash),
                       (plan.attachment.id, plan.attachment.content_hash), plan.identity, plan.text)  # fmt: skip

        def work(session: Session) -> StoredStudy:
            return _repeated(session, key) or studies.put_study(
                session, new, actor=actor, recorded_utc=self._now(), idempotency_key=key.key,
                request_hash=None if key.key is None else key.request_hash,
            )  # fmt: skip

        done: StoredStudy | None = None
        try:
            done = self._database.write(work)
        finally:
            if done is None or done.id != study_id:
                shutil.rmtree(path, ignore_errors=True)
        if done.id == study_id:
            self._enqueue(study_id)
        return done

    def get(self, study_id: str) -> StoredStudy:
        """One on record. `Refused` "unknown-study"."""
        found = self._database.read(lambda session: studies.get_study(session, study_id))
        if found is None:
            raise Refused(
                [
                    Fault(
                        "unknown-study",
                        "",
                        f"{study_id[:60]!r}",
                        "a study on record",
                        "GET /v1/studies lists them",
                    )
                ]
            )
        return found

    def listed(self, before: int | None, limit: int) -> list[StoredStudy]:
        """The newest first, from below a number on."""
        return self._database.read(lambda session: studies.list_studies(session, before, limit))

    def progress(self, study: StoredStudy) -> Progress:
        """How far one is; one whose folder is gone has failed, and keeps nobody from the others."""
        folder = Folder(self._path(study.id))
        try:
            parts = int(folder.manifest()["parts"])
        except Refused as refused:
            return Progress("failed", 0, 0, [_told(fault) for fault in refused.faults])
        finished = _finished(folder)
        with self._lock:
            if self._running is not None and self._running[0] == study.id:
                return Progress("running", parts, finished)
            if study.id in self._waiting:
                return Progress("waiting", parts, finished)
        try:
            told = json.loads((folder.path / OUTCOME).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return Progress("waiting", parts, finished)
        return Progress(told["state"], parts, finished, told["faults"], told["summary"])

    def stop(self, study: StoredStudy) -> Progress:
        """Stop one after the parts under way, or before it has begun; what is finished is kept. "not-running"."""
        state = self.progress(study).state
        if state not in {"waiting", "running"}:
            raise Refused([Fault("not-running", "", f"a study that is {state}", "one that waits or runs")])
        Folder(self._path(study.id)).ask_to_stop()
        with self._lock:
            waited = study.id in self._waiting
            self._waiting.discard(study.id)
        if waited:
            self._ended(study.id, {"state": "stopped", "faults": [], "summary": None})
        return self.progress(study)

    def go_on(self, study: StoredStudy) -> Progress:
        """Let one that was stopped or failed wait for its turn again. `Refused` "not-stopped", "no-study-here" where its
        folder is gone."""
        state = self.progress(study).state
        if state not in {"stopped", "failed"}:
            raise Refused(
                [Fault("not-stopped", "", f"a study that is {state}", "one that was stopped or failed")]
            )
        folder = Folder(self._path(study.id))
        folder.manifest()
        folder.forget_stop()
        # Before it is answered: a service that ends before its turn would take it for one that is at its end.
        (folder.path / OUTCOME).unlink(missing_ok=True)
        self._enqueue(study.id)
        return self.progress(study)

    def result(self, study: StoredStudy, kind: Literal["parquet", "csv"]) -> Path:
        """The finished parts in one file, made when it is first asked for; of a study that was stopped or failed it holds
        what was finished, and says so. `Refused` "not-finished" where it waits or runs, "no-study-here", "nothing-found"
        of a synthesis without candidates."""
        state = self.progress(study).state
        if state in {"waiting", "running"}:
            raise Refused([Fault("not-finished", "", f"a study that is {state}", "one at its end",
                                 f"GET /v1/studies/{study.id} tells how far it is")])  # fmt: skip
        Folder(self._path(study.id)).manifest()
        searched = self._path(study.id) / f"candidates.{kind}"
        if searched.exists():
            return searched
        if kind_of(study.source_text, "study.toml") == "synthesis":
            raise Refused([Fault("nothing-found", "", f"a synthesis that is {state}, without candidates",
                                 "one that found some", "let it go on, or ask for less")])  # fmt: skip
        with self._joining:
            folder = Folder(self._path(study.id))
            whole = folder.whole()
            path = folder.path / f"result-{len(whole)}.{kind}"
            if not path.exists():
                plan = plan_of(folder.path)
                write = write_parquet if kind == "parquet" else write_csv
                write(plan, folder, Outcome(plan.parts, dict(sorted(whole.items()))), path)
            return path

    # --- the worker

    def _path(self, study_id: str) -> Path:
        return self._folder / study_id

    def _enqueue(self, study_id: str) -> None:
        with self._lock:
            self._waiting.add(study_id)
        self._queue.put(study_id)

    def _run(self) -> None:
        while (study_id := self._queue.get()) is not None:
            try:
                self._work(study_id)
            except OSError as error:
                with self._lock:
                    self._waiting.discard(study_id)
                self._ended(
                    study_id, _failed("no-worker", error.strerror or str(error), "a process of its own")
                )
            finally:
                with self._lock:
                    self._running = None

    def _work(self, study_id: str) -> None:
        path = self._path(study_id)
        with (path / _LOG).open("wb") as log, self._lock:
            if self._closing or study_id not in self._waiting:  # stopped before its turn
                return
            (path / OUTCOME).unlink(missing_ok=True)
            process = subprocess.Popen(  # noqa: S603 - our own command
                self._command(path), stdin=subprocess.PIPE, stdout=log, stderr=log, env=_environment()
            )
            self._waiting.discard(study_id)
            self._running = study_id, process
        code = process.wait()
        if process.stdin is not None:
            process.stdin.close()
        if not self._closing and not (path / OUTCOME).exists():
            said = (path / _LOG).read_bytes()[-300:].decode(errors="replace").strip().rpartition("\n")[2]
            self._ended(
                study_id, _failed("worker-ended", f"exit code {code}: {said}", "a worker that ends well")
            )

    def _command(self, path: Path) -> list[str]:
        command = [sys.executable, "-m", "service.studies.worker", str(path), "--workers", str(_workers())]
        return command if self._dask is None else [*command, "--dask", self._dask]

    def _ended(self, study_id: str, told: dict[str, Any]) -> None:
        with suppress(OSError):  # told again by whoever asks: it then waits
            put(self._path(study_id) / OUTCOME, json.dumps(told).encode())


def _finished(folder: Folder) -> int:
    """How many parts, or searches of a synthesis."""
    try:
        return int(json.loads((folder.path / SEARCHED).read_text(encoding="utf-8")))
    except FileNotFoundError:
        return len({told.part for told in folder.told()})


def _failed(code: str, found: str, expected: str) -> dict[str, Any]:
    advice = "finished parts are kept; let it go on, or look into its folder"
    return {"state": "failed", "faults": [_told(Fault(code, "", found, expected, advice))], "summary": None}


def _told(fault: Fault) -> dict[str, str]:
    return {
        "code": fault.code,
        "found": fault.found,
        "expected": fault.expected,
        "advice": fault.advice,
    }


def _workers() -> int:
    """All cores but one, which is left to whoever is served."""
    return max(1, (os.cpu_count() or 1) - 1)


def _environment() -> dict[str, str]:
    """Of this process, with the place of these packages, wherever it was started."""
    here = str(Path(__file__).parents[2])
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH")]))}


def _repeated(session: Session, key: Key) -> StoredStudy | None:
    return repeated(session, key, studies.by_key, lambda found: f"study {found.id}")
