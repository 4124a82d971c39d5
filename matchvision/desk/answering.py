"""What the desk answers: the page's files, the run as it stands, and what a person's hand changes in it."""

from collections.abc import Awaitable, Callable
from importlib.resources import files
from pathlib import Path
from threading import Lock
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from matchvision.desk.asking import (
    Begin,
    Declare,
    Follow,
    ForgetColour,
    Look,
    Point,
    SetMends,
    SetPoints,
    SetStart,
    SetTags,
    ShowColour,
    TurnRope,
    Withdraw,
)
from matchvision.desk.bench import Bench
from matchvision.errors import MatchvisionError, SheetError
from matchvision.report.palette import DARK, LIGHT, css_variables

_Asked = TypeVar("_Asked", bound=BaseModel)

_KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}
_REPORT_FILES: Final = {
    "report.html": "text/html; charset=utf-8",
    "ruling.html": "text/html; charset=utf-8",
    "marked.mp4": "video/mp4",
    "measured.toml": "text/plain; charset=utf-8",
}


def build_app(bench: Bench) -> Starlette:
    """The desk's application; who may use it is the guard's matter."""
    lock = Lock()

    def reading(answer: Callable[[Request], Response]) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(request: Request) -> Response:
            return await run_in_threadpool(_told, lambda: answer(request))

        return endpoint

    def posting(kind: type[_Asked], answer: Callable[[_Asked], Response]) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(request: Request) -> Response:
            body = await request.body()

            def work() -> Response:
                try:
                    asked = kind.model_validate_json(body)
                except ValidationError as error:
                    return _refused("the desk does not understand this", [e["msg"] for e in error.errors()][:5], 400)
                with lock:
                    return answer(asked)

            return await run_in_threadpool(_told, work)

        return endpoint

    def report(request: Request) -> Response:
        return _report_file(bench.out, request.path_params["name"])

    def picture(request: Request) -> Response:
        return Response(bench.book.picture(int(request.path_params["number"])), media_type="image/png")

    def mask(request: Request) -> Response:
        return Response(bench.mask(int(request.path_params["number"])), media_type="image/png")

    return Starlette(
        routes=[
            Route("/", reading(lambda _: _page_file("index.html"))),
            Route("/static/{name}", reading(lambda request: _page_file(request.path_params["name"]))),
            Route("/api/state", reading(lambda _: JSONResponse(bench.state()))),
            Route("/api/camera", reading(lambda _: JSONResponse(bench.camera()))),
            Route("/api/tags", reading(lambda _: JSONResponse(bench.tags()))),
            Route("/api/picture/{number:int}", reading(picture)),
            Route("/api/points", posting(SetPoints, lambda a: JSONResponse(bench.set_points(a))), methods=["POST"]),
            Route("/api/settags", posting(SetTags, lambda a: JSONResponse(bench.set_tags(a))), methods=["POST"]),
            Route("/api/colour", posting(ShowColour, lambda a: JSONResponse(bench.show_colour(a))), methods=["POST"]),
            Route(
                "/api/forget", posting(ForgetColour, lambda a: JSONResponse(bench.forget_colour(a))), methods=["POST"]
            ),
            Route("/api/guess", posting(Look, lambda a: JSONResponse(bench.guess_colours(a))), methods=["POST"]),
            Route("/api/propose", posting(Point, lambda a: JSONResponse(bench.propose(a))), methods=["POST"]),
            Route("/api/declare", posting(Declare, lambda a: JSONResponse(bench.declare(a))), methods=["POST"]),
            Route("/api/withdraw", posting(Withdraw, lambda a: JSONResponse(bench.withdraw(a))), methods=["POST"]),
            Route("/api/look", posting(Look, lambda a: JSONResponse(bench.look(a))), methods=["POST"]),
            Route("/api/turnrope", posting(TurnRope, lambda _: JSONResponse(bench.turn_rope())), methods=["POST"]),
            Route("/api/preview", posting(Follow, lambda a: JSONResponse(bench.begin_preview(a))), methods=["POST"]),
            Route("/api/previewed", reading(lambda _: JSONResponse(bench.previewed()))),
            Route("/api/mends", posting(SetMends, lambda a: JSONResponse(bench.set_mends(a))), methods=["POST"]),
            Route("/api/run", posting(Begin, lambda _: JSONResponse(bench.begin_analysis())), methods=["POST"]),
            Route("/api/running", reading(lambda _: JSONResponse(bench.analyzed()))),
            Route("/api/mask/{number:int}", reading(mask)),
            Route("/report/{name}", reading(report)),
            Route("/api/start", posting(SetStart, lambda a: JSONResponse(bench.set_start(a))), methods=["POST"]),
        ]
    )


def _told(work: Callable[[], Response]) -> Response:
    """An answer; where something is wrong, what and what to do."""
    try:
        return work()
    except SheetError as error:
        return _refused("the sheet would have faults", [str(fault) for fault in error.faults], 422, error.do)
    except MatchvisionError as error:
        return _refused(f"{error.where}: {error.what}" if error.where else error.what, [], 422, error.do)


def _refused(what: str, faults: list[str], status: int, do: str = "") -> Response:
    return JSONResponse({"what": what, "faults": faults, "do": do}, status_code=status)


def _report_file(folder: Path, name: str) -> Response:
    """A file of the results, one of those that belong to the report; no other path is ever looked at."""
    if name in _REPORT_FILES:
        path = folder / name
        if path.is_file() and path.resolve().parent == folder.resolve():
            return FileResponse(path, media_type=_REPORT_FILES[name])
    return Response("There is no such thing here.", 404)


def _page_file(name: str) -> Response:
    """A file of the page, one of those that the package holds; no other path is ever looked at."""
    if name == "palette.css":
        light, dark = (f":root {{ {css_variables(colours)} }}" for colours in (LIGHT, DARK))
        style = f"{light}\n@media (prefers-color-scheme: dark) {{ {dark} }}\n"
        return Response(style, headers={"Content-Type": _KINDS[".css"]})
    folder = files("matchvision.desk").joinpath("static")
    for entry in folder.iterdir():
        kind = _KINDS.get("." + entry.name.rsplit(".", 1)[-1])
        if entry.name == name and kind is not None and entry.is_file():
            return Response(entry.read_bytes(), headers={"Content-Type": kind})
    return Response("There is no such thing here.", 404)
