"""The connection to a broker over TLS: by a certificate that is believed, and not by one that is not."""

import asyncio
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.broker.address import parse
from service.broker.client import Connection, Reply
from tests.need import need_program
from tests.service.mosquitto import Broker, own_broker

MANY = 300


@pytest.fixture(scope="module")
def secrets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an authority, and a certificate of it for this machine."""
    folder, openssl = tmp_path_factory.mktemp("secrets"), need_program("openssl")
    (folder / "names").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1")
    for words in (
        "req -x509 -newkey rsa:2048 -nodes -keyout ca.key -out ca.pem -days 2 -subj /CN=authority",
        "req -newkey rsa:2048 -nodes -keyout own.key -out own.csr -subj /CN=localhost",
        "x509 -req -in own.csr -CA ca.pem -CAkey ca.key -CAcreateserial -out own.pem -days 2 -extfile names",
    ):
        subprocess.run([openssl, *words.split()], cwd=folder, check=True, stderr=subprocess.DEVNULL)
    return folder


@pytest.fixture(scope="module")
def secure(secrets: Path) -> Iterator[Broker]:
    with own_broker(more=[f"certfile {secrets / 'own.pem'}", f"keyfile {secrets / 'own.key'}"]) as found:
        yield found


def test_what_comes_in_one_rush_is_all_read(secure: Broker, secrets: Path) -> None:
    """More than the socket is asked for at once, whatever TLS keeps back; the longest last."""

    async def go() -> None:
        done = asyncio.Event()
        sizes: list[int] = []

        def heard(_topic: str, payload: bytes, _reply: Reply | None) -> None:
            sizes.append(len(payload))
            if len(payload) == 200_000:
                done.set()

        async def came() -> None:
            await wire.subscribe([("x/#", 0)])
            for _ in range(MANY):
                wire.publish("x/y", b"z" * 3000)
            wire.publish("x/y", b"z" * 200_000, qos=1)

        wire = Connection(
            parse(f"mqtts://localhost:{secure.port}", "HERE"),
            "rush",
            heard=heard,
            came=came,
            ca=secrets / "ca.pem",
        )
        running = asyncio.ensure_future(wire.run())
        async with asyncio.timeout(20.0):
            await done.wait()
        assert sizes == [3000] * MANY + [200_000]
        await wire.close()
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)

    asyncio.run(go())


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_a_certificate_that_is_not_believed(secure: Broker, host: str) -> None:
    async def go() -> None:
        async def came() -> None:
            raise AssertionError

        wire = Connection(
            parse(f"mqtts://{host}:{secure.port}", "HERE"), "none", heard=lambda *_: None, came=came
        )
        running = asyncio.ensure_future(wire.run())
        async with asyncio.timeout(20.0):
            while "not believed" not in wire.why:
                await asyncio.sleep(0.02)
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)

    asyncio.run(go())
