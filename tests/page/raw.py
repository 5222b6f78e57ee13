"""A page without a browser: its requests and its socket, with headers of one's own."""

from __future__ import annotations

import contextlib
import json
import socket
import time
from types import TracebackType
from typing import Any

import httpx
from websockets.sync.client import ClientConnection, connect

from tests.page.bench import TRIES, PageBench


def keyed(bench: PageBench) -> str:
    """The cookie that the key is given for."""
    return httpx.get(bench.keyed_url).headers["set-cookie"].partition(";")[0]


def line_to(
    bench: PageBench, path: str, host: str = "", **headers: str
) -> contextlib.AbstractContextManager[ClientConnection]:
    """A socket to the server, whatever name it is asked by."""
    sock = socket.create_connection(("127.0.0.1", bench.web_port), 5.0)
    name = host or f"127.0.0.1:{bench.web_port}"
    return connect(f"ws://{name}{path}", sock=sock, additional_headers=headers, proxy=None)


class RawPage:
    """The socket of a page. It controls, if it has the key."""

    def __init__(self, bench: PageBench, key: bool = True) -> None:
        headers = {"Origin": bench.url.rstrip("/")}
        if key:
            headers["Cookie"] = keyed(bench)
        page = httpx.get(bench.url, headers=headers).text
        self.page_id = page.partition('data-page="')[2].partition('"')[0]
        self.tick, self.moving, self.mine = 0, False, ""
        self.said: list[dict[str, Any]] = []
        self._open = contextlib.ExitStack()
        self.line = self._open.enter_context(
            line_to(bench, f"/hold?page={self.page_id}", **headers)
        )

    def __enter__(self) -> RawPage:
        self.hear(0.2)
        self.say(do="take")
        self.hear(0.3)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with contextlib.suppress(OSError):
            self.line.socket.shutdown(socket.SHUT_RDWR)
        self._open.close()

    def say(self, **message: Any) -> None:
        self.line.send(json.dumps(message))

    def hear(self, seconds: float) -> None:
        """Take what comes for so long."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            try:
                got = json.loads(self.line.recv(left))
            except TimeoutError:
                return
            if isinstance(got, list):
                self.tick, self.moving, self.mine = got
            else:
                self.said.append(got)

    def begin(self, bench: PageBench) -> None:
        """Press, and hold on for a while; anew where a busy computer was late."""
        for _ in range(TRIES):
            bench.settle()
            self.hear(0.1)
            way = 1 if bench.position_mm < 20 else -1
            self.say(do="begin", axis=1, way=way, seen=self.tick)
            self.hold(0.6)
            if all(bench.board.drives[-40:]):
                return
            self.say(do="end")
        raise AssertionError(f"the rod did not run on: {self.said}")

    def hold(self, seconds: float) -> None:
        """Renew as a page does."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.say(do="renew", seen=self.tick)
            self.hear(0.04)
