"""Serves the page on made-up feeds: `python -m tests.page.made_up_page PORT`; `/?state=tripped`.

Only feed and hands are made up: the look, hold.js and the socket of stop are the real ones."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from fastapi import WebSocket
from fastapi.responses import FileResponse
from nicegui import app, ui
from rodbench.errors import Refused
from rodbench.page import draft, look, routes
from rodbench.page.capture import Captured
from rodbench.page.control import Control
from rodbench.page.door import Door
from rodbench.page.guard import KEYED
from rodbench.page.hands import Hands
from rodbench.settings.keys import by_wire
from rodbench.settings.machine import MachineFile
from rodbench.settings.transfer import Difference

from tests.page.made_up import MACHINE, STATES

STOPS: list[str] = []
MOVES: list[float] = []
DOORS: dict[str, tuple[Door, bool]] = {}
WATCHING = {"read_only"}
HOLD_JS = Path(routes.__file__).with_name("hold.js")


class MadeUpHands(Hands):
    """Notes what was asked for."""

    def stop(self) -> None:
        STOPS.append("stop")

    def check(self, page_id: str, changes: draft.Changes) -> list[str]:
        low = changes[1].get("soft_stop_min_um", 3_000)
        return ["soft_stop_min_mm: below soft_stop_max_mm."] if low > 188_000 else []

    def diff(self, page_id: str, changes: draft.Changes) -> list[Difference]:
        live = self.feed.scopes[1]
        keys = by_wire()
        return [
            Difference(1, "axes.1.limits", wire, keys["axis", wire], value, live[wire])
            for wire, value in changes[1].items()
        ]

    def commit(self, page_id: str, changes: draft.Changes, store: bool = True) -> draft.Committed:
        return draft.Committed([], 0, store, [])

    def capture_endpoint(self, page_id: str, axis: int, which: str) -> Captured:
        return Captured({1: {f"raw_{which}": 7_404}}, f"{which} end at raw 7404; noise 1.1 raw")

    def move(self, page_id: str, axis: int, target_mm: float, seen: int | None = None) -> None:
        MOVES.append(target_mm)
        if target_mm > 188:
            raise Refused(
                f"move refused: {target_mm:g} mm lies outside the soft stops",
                kept="The rod stays where it is.", hint="the soft stops are at 3.0 .. 188.0 mm",
            )  # fmt: skip


def main(port: int, folder: Path) -> None:
    path = folder / "machine.toml"
    path.write_text(MACHINE)

    @ui.page("/", language="en-US")
    def page(state: str = "idle") -> None:
        feed, control = STATES[state](), Control()
        feed.machine_file = path
        feed.positions = MachineFile.load(path).positions
        hands = MadeUpHands(feed, control)
        page_id = ui.context.client.id
        ui.context.client.request.scope[KEYED] = state not in WATCHING
        if state == "other_page":
            control.arrive("other", "a page at 192.168.1.20", True)
        DOORS[page_id] = Door(feed, hands, control), state not in WATCHING
        script = f'<script defer src="/hold.js" data-page="{page_id}"></script>'
        ui.add_head_html(f"<style>{routes.STYLE}</style>{script}")
        look.build(feed, hands, control, page_id)

    @app.get("/hold.js")
    def hold_js() -> FileResponse:
        return FileResponse(HOLD_JS, media_type="text/javascript")

    @app.websocket("/hold")
    async def hold(socket: WebSocket, page: str) -> None:
        door, keyed = DOORS[page]
        await door.serve(socket, page, "a page on this computer", keyed)

    @app.get("/asked")
    def asked() -> dict[str, int]:
        return {"stops": len(STOPS), "moves": len(MOVES)}

    ui.run(port=port, host="127.0.0.1", show=False, reload=False, dark=None, tailwind=False,
           title="rodbench", show_welcome_message=False)  # fmt: skip


if __name__ in {"__main__", "__mp_main__"}:
    with tempfile.TemporaryDirectory() as made:
        main(int(sys.argv[1]), Path(made))
