"""Two servers in one process for the live benchmark: the service, and a bare WebSocket echo, served alike.

Prints their ports. The echo answers each frame with a text as long as its path says. Both run on asyncio's own loop; on
uvloop, as `tipdatum serve` runs, both are faster, and the ratio is some 0.05 less.
"""

import asyncio
import tempfile
from contextlib import suppress
from pathlib import Path

from fastapi import FastAPI, WebSocket
from starlette.websockets import WebSocketDisconnect

from service.app import create_app
from service.serving import configured
from service.settings import Settings
from tests.benchmarks.servers import serve


def echo_app() -> FastAPI:
    """Every frame to /echo/1000 is answered with 1000 letters."""
    app = FastAPI()

    @app.websocket("/echo/{size}")
    async def echo(socket: WebSocket, size: int) -> None:
        text = "x" * size
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
        apps = create_app(settings), echo_app()
        asyncio.run(serve([configured(app, settings) for app in apps]))
