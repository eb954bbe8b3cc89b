"""Opens databases and is killed in it: ``python -m tests.service.upgrade.migrator``.

One warm process with one thread, as `tests.service.store.writer`. For each line "ADDRESS<TAB>AT<TAB>SECONDS" on stdin it
forks a child that opens the database and is killed before its statement or commit number AT, or after so many seconds
where these are not 0; a line on stdout says how the child ended.
"""

import os
import signal
import sys
import traceback

from sqlalchemy import Engine, event

from service.store import open_database


def run(address: str, at: int, seconds: float) -> None:
    """Open it, killed before statement number `at`, or after `seconds`."""
    left = at
    signal.setitimer(
        signal.ITIMER_REAL, seconds
    )  # nobody catches SIGALRM: the process is gone, in whatever it was

    def count(*_: object) -> None:
        nonlocal left
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(Engine, "before_cursor_execute", count)
    event.listen(Engine, "commit", count)
    open_database(address, backed_up="0003").close()


def main() -> None:
    """Fork one for each line."""
    for line in sys.stdin:
        address, at, seconds = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            status = 1
            try:
                run(address, int(at), float(seconds))
                status = 0
            except BaseException:  # a forked child must not return into its parent's loop
                traceback.print_exc()
                sys.stderr.flush()
            os._exit(status)
        sys.stdout.write(f"{os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
