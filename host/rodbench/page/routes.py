"""The page's addresses: the page itself, its script, its socket, and stop."""

from __future__ import annotations

from pathlib import Path

from fastapi import FastAPI, Response, WebSocket
from fastapi.responses import FileResponse
from nicegui import app as library
from nicegui import ui
from nicegui.client import Client

from rodbench.errors import RodbenchError
from rodbench.page import look
from rodbench.page.control import Control
from rodbench.page.door import Door
from rodbench.page.feed import Feed
from rodbench.page.guard import KEYED
from rodbench.page.hands import Hands

SCRIPT = "/rodbench/hold.js"
STYLE = (
    "[data-jog-axis], [data-stop] { touch-action: none; user-select: none; "
    "-webkit-user-select: none; -webkit-touch-callout: none }"
)


def routes(feed: Feed, hands: Hands, control: Control) -> FastAPI:
    """All that is behind the guard."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    door = Door(feed, hands, control)

    @app.get(SCRIPT)
    def script() -> FileResponse:
        headers = {"cache-control": "no-cache"}
        file = Path(__file__).with_name("hold.js")
        return FileResponse(file, media_type="text/javascript", headers=headers)

    @app.post("/stop")
    def stop() -> Response:
        try:
            hands.stop()
        except RodbenchError as error:
            return Response(f"{error.message}\n", 503, media_type="text/plain")
        return Response("stop sent\n", media_type="text/plain")

    @app.websocket("/hold")
    async def hold(socket: WebSocket, page: str = "") -> None:
        if page not in Client.instances:
            await socket.close(1008)
            return
        await door.serve(socket, page, _label(socket), bool(socket.scope.get(KEYED)))

    @ui.page("/")
    def show() -> None:
        page_id = ui.context.client.id
        ui.add_head_html(
            f'<style>{STYLE}</style><script defer src="{SCRIPT}" data-page="{page_id}"></script>'
        )
        look.build(feed, hands, control, page_id)

    _serve_library(app, feed.name)
    return app


def _serve_library(app: FastAPI, name: str) -> None:
    library.config.socket_io_js_transports = ["websocket"]
    ui.run_with(
        app,
        title=f"rodbench {name}".strip(),
        dark=None,
        tailwind=False,
        show_welcome_message=False,
        reconnect_timeout=3.0,
        message_history_length=0,
        cache_control_directives="no-cache",
    )


def _label(socket: WebSocket) -> str:
    """What other pages call this one."""
    host = socket.client.host if socket.client else ""
    here = host in ("127.0.0.1", "::1")
    return "a page on this computer" if here else f"a page at {host}"
