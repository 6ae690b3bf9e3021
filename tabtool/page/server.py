"""The door: who may ask, for what, and how much. Every answer comes through `Guard`.

Only this machine can reach the server (it listens on 127.0.0.1), and only the page it
served itself may ask it anything: the Host header must name this address, so that no
other name can be pointed at it, and whatever a browser sends from another page is
refused by its Origin. Bodies are limited, errors are one plain line, and the page runs
no script but its own.
"""

from __future__ import annotations

import json
import os
import secrets
import socket
import sys
import time
import traceback
from collections.abc import Callable
from functools import partial

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tabtool.diagnostics import TabError
from tabtool.page.api import CALLS, Desk
from tabtool.page.folder import Changed, Folder

LARGEST_BODY = 5_000_000  # bytes
LARGEST_RECORDING = 62_000_000  # bytes, for the one request that carries a recording
STATIC = os.path.join(os.path.dirname(os.path.abspath(__file__)), "static")
SERVED = {  # nothing else in the folder is served
    "page.js": "text/javascript; charset=utf-8",
    "page.css": "text/css; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self' 'nonce-{nonce}'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "media-src 'self' blob:",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
    )
)
HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=()",
    "cache-control": "no-store",
}


OURS = "something went wrong in tabtool; your text is safe on the page"


class TooLarge(Exception):
    """A body longer than its request may have."""


def _most(scope: Scope) -> int:
    return LARGEST_RECORDING if scope["path"] == "/api/take" else LARGEST_BODY


class Guard:
    """Checks who asks before anything else runs, and how every answer leaves."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        if port == 80:
            self.hosts |= {"127.0.0.1", "localhost"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self.refusal(scope)
        answer = _error(refusal, 403) if refusal else self.app
        begun = False
        read, most = 0, _most(scope)

        async def limited() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > most:
                raise TooLarge
            return message

        async def dressed(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                present = {name for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *(
                        (name.encode(), value.encode())
                        for name, value in HEADERS.items()
                        if name.encode() not in present
                    ),
                    *(
                        ()
                        if b"content-security-policy" in present
                        else ((b"content-security-policy", b"default-src 'none'"),)
                    ),
                ]
            await send(message)

        try:
            await answer(scope, limited, dressed)
        except Exception:  # our fault: told of here, never to the page
            traceback.print_exc(file=sys.stderr)
            if not begun:
                await _error(OURS, 500)(scope, receive, dressed)

    def refusal(self, scope: Scope) -> str:
        """Why this request is refused; empty if it is not."""
        sent: dict[bytes, list[str]] = {}
        for name, value in scope["headers"]:
            sent.setdefault(name.lower(), []).append(value.decode("latin-1"))
        hosts = sent.get(b"host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return "this address is not the one the page was opened at"
        own = f"http://{hosts[0].lower()}"
        origins = sent.get(b"origin", [])
        if any(origin.lower() != own for origin in origins):
            return "another page may not ask here"
        if scope["method"] not in ("GET", "HEAD") and not origins:
            return "only the page itself may ask here"
        sites = sent.get(b"sec-fetch-site", [])
        if any(site not in ("same-origin", "none") for site in sites):
            return "another page may not ask here"
        return ""


def make_app(folder: str, port: int, kept_path: str, first: str = "") -> ASGIApp:
    """The application for one folder; `first` is the path of a tune to open at once."""
    desk = Desk(Folder(folder), kept_path)
    routes = [
        Route("/", partial(_index, first), methods=["GET"]),
        Route("/static/{name}", _static, methods=["GET"]),
        Route("/api/{name}", partial(_call, desk), methods=["POST"]),
    ]
    return Guard(Starlette(routes=routes, exception_handlers=_plain()), port)


def _plain() -> dict[int | type[Exception], Callable[[Request, Exception], Response]]:
    """What is answered where the routes have no answer."""

    def always(message: str, status: int) -> Callable[[Request, Exception], Response]:
        return lambda request, error: _error(message, status)

    return {
        404: always("there is nothing here", 404),
        405: always("that cannot be done here", 405),
        500: always(OURS, 500),
        TooLarge: always("that is too much at once", 413),
    }


async def _index(first: str, request: Request) -> Response:
    nonce = secrets.token_urlsafe(18)
    with open(os.path.join(STATIC, "index.html"), encoding="utf-8") as file:
        html = file.read().replace("{nonce}", nonce)
    html = html.replace("{first}", _attribute(first))
    policy = POLICY.replace("{nonce}", nonce)
    return Response(html, headers={"content-security-policy": policy}, media_type="text/html")


def _attribute(text: str) -> str:
    for sign, entity in (("&", "&amp;"), ('"', "&quot;"), ("<", "&lt;"), (">", "&gt;")):
        text = text.replace(sign, entity)
    return text


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in SERVED:
        return _error("there is nothing here", 404)
    with open(os.path.join(STATIC, name), "rb") as file:
        return Response(file.read(), media_type=SERVED[name])


async def _call(desk: Desk, request: Request) -> Response:
    call = CALLS.get(request.path_params["name"])
    if call is None:
        return _error("there is no such request", 404)
    if request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
        return _error("a request is JSON", 415)
    declared = request.headers.get("content-length", "0")
    if declared.isdecimal() and int(declared) > _most(request.scope):
        raise TooLarge
    body = await request.body()
    return await run_in_threadpool(_answer, partial(call, desk), body)


def _answer(call: Callable[[dict[str, object]], dict[str, object]], data: bytes) -> Response:
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        return _error("the request is not JSON", 400)
    if not isinstance(body, dict):
        return _error("the request is not a JSON object", 400)
    begun, cpu = time.perf_counter(), time.thread_time()
    try:
        answer = JSONResponse(call(body))
        took = 1000 * (time.perf_counter() - begun), 1000 * (time.thread_time() - cpu)
        answer.headers["server-timing"] = "all;dur={:.2f}, cpu;dur={:.2f}".format(*took)
        return answer
    except Changed as changed:
        now = changed.now
        gone = f"{changed.path} is no longer on disk"
        other = f"{changed.path} has changed on disk since it was opened here"
        return JSONResponse(
            {
                "error": other if now else gone,
                "changed": True,
                "now": {"text": now.text, "digest": now.digest} if now else None,
            },
            status_code=409,
        )
    except TabError as error:
        return _error(str(error), 400)


def _error(message: str, status: int) -> Response:
    return JSONResponse({"error": message}, status_code=status)


def listen(port: int) -> socket.socket:
    """A socket on loopback; `TabError` if the port is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
    except OSError:
        listening.close()
        raise TabError(f"port {port} is in use; name another with --port, or 0 for any") from None
    return listening


def serve(app: ASGIApp, listening: socket.socket, opened: Callable[[], None]) -> None:
    """Answer until interrupted; `opened` is called once requests are answered."""
    config = uvicorn.Config(app, log_level="warning", access_log=False, lifespan="off",
                            server_header=False, timeout_graceful_shutdown=1)  # fmt: skip
    server = _Server(config, opened)
    server.run(sockets=[listening])


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, opened: Callable[[], None]) -> None:
        super().__init__(config)
        self.opened = opened

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.opened()
