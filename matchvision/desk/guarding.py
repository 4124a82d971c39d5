"""Who may talk to the desk: the page that it served itself, from this computer, and nobody else.

Other pages in the same browser can send requests to a local port, and a name that they own can be made to point there.
So the address holds a random token, host and origin are checked on every request, and answers tell the browser to load
nothing from elsewhere.
"""

import hmac
import secrets
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Longest body of a request [bytes]: many times what the page ever sends.
LARGEST_BODY: Final = 512 * 1024
#: What the page may do: run and show what comes from the desk itself; nothing inline, nothing from elsewhere.
PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
#: A finished report is a page of its own: its script is inside it, and it is kept apart from the desk.
REPORT_POLICY: Final = (
    "sandbox allow-scripts allow-downloads; default-src 'none'; style-src 'unsafe-inline'; "
    "script-src 'unsafe-inline'; img-src data:; media-src 'self' data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
#: Where reports stand, under the token.
REPORT_PATH: Final = "/report/"
_METHODS: Final = frozenset({"GET", "HEAD", "POST"})


def new_token() -> str:
    """A token that nobody guesses: 256 random bits."""
    return secrets.token_urlsafe(32)


class Guard:
    """Lets through what the desk's own page asks for, with the token taken off the path; refuses all else.

    Parameters
    ----------
    app : ASGI application
    token : str
    port : int
        At which the desk listens on the loopback interface.

    Notes
    -----
    Checked by: tests/desk/test_security.py::test_other_hosts_are_refused
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app = app
        self.token = token
        self.hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self.refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, _with_policy(send, PAGE_POLICY))
            return
        path: str = scope["path"]
        inner = path[len(self.token) + 1 :]
        policy = REPORT_POLICY if _is_report(path) else PAGE_POLICY
        scope = {**scope, "path": inner, "raw_path": inner.encode(), "root_path": ""}
        await self.app(scope, _limited(receive), _with_policy(send, policy))

    def refusal(self, scope: Scope) -> PlainTextResponse | None:
        """Why a request is refused, as the answer to it; None where it is not."""
        headers = Headers(scope=scope)
        method: str = scope["method"]
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            return PlainTextResponse("This desk answers only to its own address.", 403)
        path: str = scope["path"]
        raw: str = scope.get("raw_path", path.encode()).decode("latin-1")
        if any(part in (".", "..") for part in path.split("/")) or any(sign in raw + path for sign in ("\\", "\x00")):
            return PlainTextResponse("There is no such thing here.", 403)
        given = path.split("/")[1] if path.startswith("/") else ""
        known = hmac.compare_digest(given.encode(), self.token.encode())
        if not known or not path.startswith(f"/{self.token}/"):
            return PlainTextResponse("Open the whole address that the program printed.", 403)
        if method not in _METHODS:
            return PlainTextResponse("Only reading and posting are known here.", 405)
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none") and not _is_report(path):
            return PlainTextResponse("Another page has no business here.", 403)
        origins = headers.getlist("origin")
        ours = f"http://{hosts[0]}"
        if any(origin != ours for origin in origins) and not (method == "GET" and _is_report(path)):
            return PlainTextResponse("Another page has no business here.", 403)
        if method == "POST":
            return _refuse_post(headers, origins)
        return None


def _is_report(path: str) -> bool:
    """A report is kept apart from the desk, so its own requests come from no origin; they only read."""
    return f"/{path.split('/', 2)[-1]}".startswith(REPORT_PATH)


def _refuse_post(headers: Headers, origins: list[str]) -> PlainTextResponse | None:
    if not origins:
        return PlainTextResponse("A post must say where it comes from.", 403)
    if headers.get("content-type", "").split(";")[0].strip().lower() != "application/json":
        return PlainTextResponse("JSON is wanted.", 415)
    length = headers.get("content-length", "")
    if not length.isdigit():
        return PlainTextResponse("A post must say how long it is.", 411)
    if int(length) > LARGEST_BODY:
        return PlainTextResponse("That is more than the desk ever needs.", 413)
    return None


def _limited(receive: Receive) -> Receive:
    """The request's body, cut off where it is longer than it may be."""
    taken = 0

    async def receive_some() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > LARGEST_BODY:
            return {"type": "http.disconnect"}
        return message

    return receive_some


def _with_policy(send: Send, policy: str) -> Send:
    """Answers that tell the browser what it may do with them."""

    async def send_with(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["Content-Security-Policy"] = policy
            headers["X-Content-Type-Options"] = "nosniff"
            headers["Referrer-Policy"] = "no-referrer"
            headers["Cross-Origin-Opener-Policy"] = "same-origin"
            # A report is kept in no origin at all, and its clip must be lent to it.
            headers["Cross-Origin-Resource-Policy"] = "same-origin" if policy is PAGE_POLICY else "cross-origin"
            headers["Cache-Control"] = "no-store"
        await send(message)

    return send_with
