"""Viewers as they should not be: one that never reads, and one that goes without a word."""

import asyncio
import socket

import websockets

_BUFFER = 4096


async def never_reads(port: int, job: str, seconds: float) -> None:
    """View for so long with a buffer of one page and never read."""
    with socket.socket() as plain:
        plain.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        await _upgrade(plain, port, job)
        await asyncio.sleep(seconds)


async def vanishes(port: int, job: str) -> None:
    """View for a moment and go without a word."""
    uri = f"ws://127.0.0.1:{port}/v1/jobs/{job}/readouts/live"
    async with websockets.connect(uri, compression=None) as viewer:
        for _ in range(5):
            await viewer.recv()
        viewer.transport.abort()


async def _upgrade(plain: socket.socket, port: int, job: str) -> None:
    loop = asyncio.get_running_loop()
    plain.setblocking(False)  # noqa: FBT003
    await loop.sock_connect(plain, ("127.0.0.1", port))
    request = (
        f"GET /v1/jobs/{job}/readouts/live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\n"
        "Connection: Upgrade\r\nSec-WebSocket-Key: c2l4dGVlbiBieXRlcyBoZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    await loop.sock_sendall(plain, request.encode())
    answer = await loop.sock_recv(plain, 64)
    if b" 101 " not in answer:
        raise ConnectionError(f"expected to be let in as a viewer, found {answer!r}")
