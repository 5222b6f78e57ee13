"""Who is let in: by name, by origin and by key. Raw requests and sockets, and a browser."""

from __future__ import annotations

import contextlib
import socket

import httpx
import pytest
from playwright.sync_api import BrowserContext, Page
from websockets.exceptions import InvalidStatus

from tests.page.bench import EXTEND, STOP, PageBench, data, ready
from tests.page.raw import RawPage, keyed, line_to

SOCKETS = ("/hold?page=none", "/_nicegui_ws/socket.io/?EIO=4&transport=websocket")


def raw(bench: PageBench, *lines: str) -> str:
    """Status line and headers of an answer to exactly these lines."""
    with socket.create_connection(("127.0.0.1", bench.web_port), 5.0) as line:
        line.sendall("\r\n".join([*lines, "Connection: close", "", ""]).encode())
        got = b""
        while part := line.recv(65536):
            got += part
    return got.decode("latin-1")


def answer_to(bench: PageBench, path: str, host: str = "", **headers: str) -> int:
    """The status with which a socket is answered."""
    try:
        with line_to(bench, path, host, **headers):
            return 101
    except InvalidStatus as refused:
        return refused.response.status_code


# -- Host: DNS rebinding


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "localhost:1", "127.0.0.1.evil:80"])
def test_a_foreign_host_is_refused(served: PageBench, host: str) -> None:
    for line in ("GET / HTTP/1.1", "GET /rodbench/hold.js HTTP/1.1", "POST /stop HTTP/1.1"):
        answer = raw(served, line, f"Host: {host}", f"Origin: http://{host}")
        assert answer.startswith("HTTP/1.1 403"), answer
        assert "does not go by that name" in answer


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "[::1]", "LOCALHOST"])
def test_names_of_this_computer_are_taken(served: PageBench, name: str) -> None:
    answer = raw(served, "GET / HTTP/1.1", f"Host: {name}:{served.web_port}")
    assert answer.startswith("HTTP/1.1 200"), answer[:200]


def test_two_hosts_are_none(served: PageBench) -> None:
    here = f"127.0.0.1:{served.web_port}"
    answer = raw(served, "GET / HTTP/1.1", f"Host: {here}", "Host: evil.example")
    assert answer.startswith(("HTTP/1.1 403", "HTTP/1.1 400"))
    assert raw(served, "GET / HTTP/1.0").startswith(("HTTP/1.1 403", "HTTP/1.1 400"))


@pytest.mark.parametrize("path", SOCKETS)
def test_a_socket_under_a_foreign_host_is_refused(served: PageBench, path: str) -> None:
    assert answer_to(served, path, "evil.example", Origin="http://evil.example") == 403


# -- Origin: other sites


@pytest.mark.parametrize("path", SOCKETS)
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://localhost:1", ""])
def test_a_socket_from_elsewhere_is_refused(served: PageBench, path: str, origin: str) -> None:
    headers = {"Origin": origin, "Cookie": keyed(served)} if origin else {}
    assert answer_to(served, path, **headers) == 403


def test_a_page_of_our_own_is_let_in(served: PageBench) -> None:
    """What the refusals beside it are measured against; stop needs no key."""
    own = {"Origin": served.url.rstrip("/")}
    assert answer_to(served, SOCKETS[1], **own) == 101
    assert httpx.post(f"{served.url}stop", headers=own).status_code == 200


def test_one_name_of_ours_is_no_other(served: PageBench) -> None:
    assert answer_to(served, SOCKETS[0], Origin=f"http://localhost:{served.web_port}") == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", None])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_what_is_no_read_needs_our_origin(
    served: PageBench, method: str, origin: str | None
) -> None:
    headers = {"Origin": origin} if origin else {}
    headers["Cookie"] = keyed(served)
    for path in ("stop", "", "_nicegui/client/x/upload/1"):
        assert httpx.request(method, served.url + path, headers=headers).status_code == 403


def test_long_polling_is_no_way_round(served: PageBench) -> None:
    own = {"Origin": served.url.rstrip("/")}
    for headers in ({}, own):
        for method in ("GET", "POST"):
            answer = httpx.request(
                method, f"{served.url}_nicegui_ws/socket.io/?EIO=4&transport=polling",
                headers=headers,
            )  # fmt: skip
            assert answer.status_code == 403


@pytest.mark.parametrize("path", ["docs", "redoc", "openapi.json", "metrics", "..%2f", "key"])
def test_nothing_else_is_there(served: PageBench, path: str) -> None:
    assert httpx.get(served.url + path).status_code in (403, 404)


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_picture_on_another_site_builds_no_page(served: PageBench, site: str) -> None:
    """It tells no Origin; a hundred of them would keep the server from its sockets."""
    for kind, code in (("image", 403), ("iframe", 403), ("document", 200)):
        headers = {"Sec-Fetch-Site": site, "Sec-Fetch-Dest": kind}
        assert httpx.get(served.url, headers=headers).status_code == code
    headers = {"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Dest": "script"}
    assert httpx.get(f"{served.url}rodbench/hold.js", headers=headers).status_code == 200


def test_headers_have_an_end(served: PageBench) -> None:
    """Of a header without end the server kept all, hundreds of MB of it."""
    with socket.create_connection(("127.0.0.1", served.web_port), 10.0) as line:
        line.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{served.web_port}\r\nX: ".encode())
        with contextlib.suppress(ConnectionError):  # it may be cut off while it is sent
            line.sendall(b"x" * (4 << 20))
            assert line.recv(100)[9:12] in (b"400", b"")


# -- the key


@pytest.mark.parametrize("key", ["", "wrong", "x" * 43, "ä", "%00"])
def test_a_wrong_key_is_refused(served: PageBench, key: str) -> None:
    answer = httpx.get(f"{served.url}?key={key}")
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_the_key_becomes_a_cookie_that_no_script_reads(served: PageBench) -> None:
    answer = httpx.get(served.keyed_url)
    told = answer.headers["set-cookie"]
    assert "HttpOnly" in told
    assert "SameSite=Strict" in told
    key = served.keyed_url.partition("key=")[2]
    assert key not in told
    assert key not in answer.text
    assert len(key) >= 43  # 256 bit


def test_the_key_stays_nowhere(page: Page, served: PageBench, context: BrowserContext) -> None:
    key = served.keyed_url.partition("key=")[2]
    assert page.url == served.url
    assert key not in page.content()
    assert page.evaluate("document.cookie") == ""
    page.go_back()
    assert key not in page.url
    assert key not in (served.folder / "page.err").read_text().partition("control:")[0]
    assert context.cookies()[0]["httpOnly"]


def test_every_answer_forbids_what_it_can(served: PageBench) -> None:
    for path in ("", "rodbench/hold.js", "nothing", "?key=wrong"):
        headers = httpx.get(served.url + path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "http" not in policy  # no other place is allowed


def test_the_page_asks_nothing_of_the_world(context: BrowserContext, served: PageBench) -> None:
    asked: list[str] = []
    said: list[str] = []
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("websocket", lambda line: asked.append(line.url.replace("ws://", "http://")))
    page.on("console", lambda message: said.append(message.text))
    ready(page, served.keyed_url)
    page.wait_for_timeout(1000)
    assert len(asked) > 10
    assert [url for url in asked if not url.startswith((served.url, "data:"))] == []
    assert [text for text in said if "Content Security" in text] == []


def test_another_site_cannot_show_it(context: BrowserContext, served: PageBench) -> None:
    page = context.new_page()
    page.goto("about:blank")
    page.set_content(f'<iframe src="{served.url}"></iframe>')
    page.wait_for_timeout(500)
    assert all(STOP not in frame.content() for frame in page.frames)
    assert page.frames[1].query_selector(STOP) is None


# -- a watcher


def test_a_watcher_moves_nothing_whatever_it_sends(served: PageBench) -> None:
    served.settle()
    with RawPage(served, key=False) as watcher:
        since = served.board.now
        watcher.say(do="begin", axis=1, way=1, seen=watcher.tick)
        watcher.hold(0.6)
        assert not any(served.board.drives[since:])
        assert [told["refused"] for told in watcher.said] == ["this page only watches"] * 2


def test_a_watchers_page_only_watches(context: BrowserContext, served: PageBench) -> None:
    served.settle()
    page = ready(context.new_page(), served.url)
    since = served.board.now
    if page.locator(EXTEND).count() and page.locator(EXTEND).is_enabled():
        page.locator(EXTEND).hover()
        page.mouse.down()
        page.wait_for_timeout(400)
        assert data(page, "refused") == "this page only watches"
    page.wait_for_timeout(200)
    assert not any(served.board.drives[since:])
