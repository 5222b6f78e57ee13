"""The page's server: one process, one board, any number of pages that look, one that controls."""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import secrets
import signal
import socket
from collections.abc import Callable, Iterator
from types import FrameType

from rodbench.errors import Interrupted, PortError, UsageError
from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.guard import KEY_QUERY, App, Guard
from rodbench.page.hands import Hands

LOOPBACK = "127.0.0.1"
ANYWHERE = ("*", "")  # beside the unspecified address, which has many spellings


class PageServer:
    """Binds at once, so that `url` is known; `run` serves until a signal."""

    def __init__(
        self,
        feed: Feed,
        hands: Hands,
        control: Control,
        *,
        address: str = LOOPBACK,
        port: int = 0,
    ) -> None:
        self.feed, self.hands, self.control = feed, hands, control
        self.key = secrets.token_urlsafe(32)
        self._address = address
        self._socket = _bound(address, port)
        self.port = int(self._socket.getsockname()[1])

    @property
    def url(self) -> str:
        """The address without the key: who opens it only watches."""
        return f"http://{_host(self._address)}:{self.port}/"

    @property
    def keyed_url(self) -> str:
        """The address with the key of this run."""
        return f"{self.url}?{KEY_QUERY}={self.key}"

    @property
    def hosts(self) -> list[str]:
        """The names by which a browser may ask."""
        names = {_host(self._address)}
        if self._address in (LOOPBACK, "localhost", "::1"):
            names |= {LOOPBACK, "localhost", "[::1]"}
        return [f"{name}:{self.port}" for name in sorted(names)]

    def app(self) -> App:
        """All of it, behind the guard."""
        from rodbench.page.routes import routes

        return Guard(routes(self.feed, self.hands, self.control), self.hosts, self.key)

    def run(self) -> None:
        """Serve until SIGINT, SIGTERM or a closed terminal, which are raised on at the end."""
        import uvicorn

        config = uvicorn.Config(
            self.app(),
            log_config=None,
            http="h11",  # the other one takes headers without end
            access_log=False,  # the key is in one address
            ws_max_size=1 << 20,
            ws_ping_interval=5.0,  # a page that is cut off gives control back after ten seconds
            ws_ping_timeout=5.0,
            ws_per_message_deflate=False,
            timeout_graceful_shutdown=1,
            server_header=False,
        )
        logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
        logging.getLogger("nicegui").setLevel(logging.ERROR)
        server = uvicorn.Server(config)
        with contextlib.closing(self._socket), _closed_terminal(server.handle_exit):
            server.run(sockets=[self._socket])


@contextlib.contextmanager
def _closed_terminal(end: Callable[[int, FrameType | None], None]) -> Iterator[None]:
    """SIGHUP ends the server as the other signals do: an exception that is raised somewhere in its
    loop would be lost there. Raised once it has ended."""
    number = getattr(signal, "SIGHUP", None)  # Windows has none
    if number is None:
        yield
        return
    came: list[int] = []

    def hear(number: int, frame: FrameType | None) -> None:
        came.append(number)
        end(number, frame)

    before = signal.signal(number, hear)
    try:
        yield
    finally:
        signal.signal(number, before)
    if came:
        raise Interrupted("interrupted (SIGHUP)", kept="a rod that a page moved was stopped")


def _bound(address: str, port: int) -> socket.socket:
    if address in ANYWHERE:
        raise _everywhere(address)
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((address, port))
        if _unspecified(made.getsockname()[0]):  # what is bound is not yet served
            raise _everywhere(address)
        made.listen(64)  # who comes before the server runs waits
    except UsageError:
        made.close()
        raise
    except (OSError, OverflowError) as error:
        made.close()
        raise PortError(
            f"the page cannot be served at {address}, port {port}: {error}",
            kept="nothing is served",
            hint="another program may have that port: --web-port 0 takes any that is free",
        ) from None
    return made


def _unspecified(bound: str) -> bool:
    """Whether an address as the system tells it means all of this computer's."""
    found = ipaddress.ip_address(bound.partition("%")[0])
    mapped = getattr(found, "ipv4_mapped", None)
    return found.is_unspecified or (mapped is not None and mapped.is_unspecified)


def _everywhere(address: str) -> UsageError:
    return UsageError(
        f"--listen {address} would serve on every network that this computer is on",
        kept="nothing is served",
        hint="name the one address of this computer under which the page is opened",
    )


def _host(address: str) -> str:
    return f"[{address}]" if ":" in address else address
