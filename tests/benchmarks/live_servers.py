"""Two servers in one process for the live benchmark: the service, and a bare WebSocket echo, served alike.

Prints their ports. The echo answers each frame with a text as long as a live readout. Both run on asyncio's own loop; on
uvloop, as `tipdatum serve` runs, both are faster, and the ratio is some 0.05 less.
"""

import asyncio
import gc
import json
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

import uvicorn
from fastapi import FastAPI, WebSocket
from starlette.websockets import WebSocketDisconnect

from service.app import create_app
from service.serving import bind, configured
from service.settings import Settings


def echo_app(size: int) -> FastAPI:
    """Every frame is answered with `size` letters."""
    app = FastAPI()
    text = "x" * size

    @app.websocket("/echo")
    async def echo(socket: WebSocket) -> None:
        await socket.accept()
        with suppress(WebSocketDisconnect):
            while True:
                await socket.receive_text()
                await socket.send_text(text)

    return app


async def serve(size: int, data: Path) -> None:
    """Both on free ports until terminated."""
    # The pace that slows a flood is not what is measured.
    settings = Settings(data_folder=data, readings_per_s=1_000_000)
    servers, ports = [], []
    for app in (create_app(settings), echo_app(size)):
        listener = bind("127.0.0.1", 0)
        ports.append(listener.getsockname()[1])
        servers.append(uvicorn.Server(configured(app, settings)).serve(sockets=[listener]))
    gc.collect()
    gc.freeze()  # as the service does
    sys.stdout.write(json.dumps(ports) + "\n")
    sys.stdout.flush()
    await asyncio.gather(*servers)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        asyncio.run(serve(int(sys.argv[1]), Path(name)))
