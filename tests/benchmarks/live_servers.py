"""Two servers in one process for the live benchmark: the service, and a bare WebSocket echo, served alike.

Prints their ports. The echo answers each frame with a text as long as a live readout. Both run on asyncio's own loop; on
uvloop, as `tipdatum serve` runs, both are faster, and the ratio is some 0.05 less.
"""

import asyncio
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

from fastapi import FastAPI, WebSocket
from starlette.websockets import WebSocketDisconnect

from service.app import create_app
from service.serving import configured
from service.settings import Settings
from tests.benchmarks.servers import serve


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


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        # The pace that slows a flood is not what is measured.
        settings = Settings(data_folder=Path(name), readings_per_s=1_000_000)
        apps = create_app(settings), echo_app(int(sys.argv[1]))
        asyncio.run(serve([configured(app, settings) for app in apps]))
