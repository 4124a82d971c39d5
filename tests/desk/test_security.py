"""Nobody but the desk's own page gets anything from it, and nothing is written for anybody else."""

import socket
from pathlib import Path
from typing import Any

import pytest
from starlette.routing import Route

from matchvision.desk import OpenDesk
from matchvision.desk.answering import build_app
from matchvision.desk.guarding import LARGEST_BODY
from tests.desk.talking import ask, post

START: dict[str, Any] = {"start_s": 0.5}


@pytest.fixture
def before(folder: Path) -> dict[str, bytes]:
    return content_of(folder)


def content_of(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def test_the_desk_answers_its_own_page_and_writes(desk: OpenDesk, folder: Path) -> None:
    assert ask(desk, "/").status == 200
    assert ask(desk, "/api/state").data["run"]["name"] == "demo"
    assert post(desk, "/api/start", START).status == 200
    assert "start_s = 0.5" in (folder / "desk.toml").read_text()


@pytest.mark.parametrize("host", ["rebound.invalid", "rebound.invalid:{port}", "127.0.0.1", "127.0.0.1:1", "", None])
def test_other_hosts_are_refused(desk: OpenDesk, folder: Path, before: dict[str, bytes], host: str | None) -> None:
    named = None if host is None else host.format(port=desk.port)
    assert ask(desk, "/api/state", headers={"Host": named}).status in (400, 403)
    assert post(desk, "/api/start", START, headers={"Host": named}).status in (400, 403)
    assert content_of(folder) == before


def test_two_hosts_are_refused(desk: OpenDesk) -> None:
    with socket.create_connection(("127.0.0.1", desk.port), timeout=10) as connection:
        lines = [f"GET /{desk.token}/api/state HTTP/1.1", f"Host: 127.0.0.1:{desk.port}", "Host: rebound.invalid"]
        connection.sendall("\r\n".join([*lines, "Connection: close", "", ""]).encode())
        answer = connection.recv(65536)
    assert answer.split(b" ")[1] in (b"400", b"403")


@pytest.mark.parametrize("token", ["", "wrong", "{token}x", "{cut}", "%00"])
def test_without_the_token_nothing_is_told(desk: OpenDesk, folder: Path, before: dict[str, bytes], token: str) -> None:
    given = token.format(token=desk.token, cut=desk.token[:-1])
    assert ask(desk, "/api/state", token=given).status == 403
    assert post(desk, "/api/start", START, token=given).status == 403
    assert content_of(folder) == before


@pytest.mark.parametrize(
    "path",
    [
        "/../run.toml", "/static/../__init__.py", "/static/..%2f__init__.py", "/static/%2e%2e/__init__.py",
        "/static/..%5c__init__.py", "/report/../../run/run.toml", "/report/%2e%2e/run/run.toml",
        "/report/..%2f..%2frun/run.toml", "/report//etc/passwd", "/report/%2fetc%2fpasswd", "/static//etc/passwd",
        "/api/picture/../state", "/report/.hidden",
    ],
)  # fmt: skip
def test_no_path_leads_out(desk: OpenDesk, folder: Path, before: dict[str, bytes], path: str) -> None:
    answer = ask(desk, path)
    assert answer.status in (400, 403, 404)
    assert b"[run]" not in answer.body
    assert b"root:" not in answer.body
    assert b"open_desk" not in answer.body
    assert content_of(folder) == before


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.invalid"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": None},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": None},
    ],
)
def test_posts_from_other_pages_are_refused(
    desk: OpenDesk, folder: Path, before: dict[str, bytes], headers: dict[str, str | None]
) -> None:
    assert post(desk, "/api/start", START, headers=headers).status in (403, 415)
    assert content_of(folder) == before


def test_every_post_is_refused_to_strangers(desk: OpenDesk, folder: Path, before: dict[str, bytes]) -> None:
    routes = [route for route in build_app(desk.bench).routes if isinstance(route, Route)]
    posts = [route.path for route in routes if "POST" in (route.methods or ())]
    assert {"/api/points", "/api/mends", "/api/guess", "/api/declare", "/api/withdraw", "/api/run"} <= set(posts)
    foreign = {"headers": {"Origin": "http://elsewhere.invalid"}}
    for path in posts:
        for changes in (foreign, {"headers": {"Host": "rebound.invalid"}}, {"token": "wrong"}):
            assert post(desk, path, {}, **changes).status == 403, (path, changes)
    assert content_of(folder) == before


def test_other_pages_cannot_read_either(desk: OpenDesk) -> None:
    for headers in ({"Origin": "http://elsewhere.invalid"}, {"Sec-Fetch-Site": "cross-site"}):
        assert ask(desk, "/api/state", headers=headers).status == 403
    assert "access-control-allow-origin" not in ask(desk, "/api/state").headers


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(desk: OpenDesk, method: str) -> None:
    assert ask(desk, "/api/start", method=method).status in (400, 403, 405)


def test_reading_never_writes_and_posts_go_only_where_they_belong(
    desk: OpenDesk, folder: Path, before: dict[str, bytes]
) -> None:
    assert ask(desk, "/api/start").status == 405
    assert post(desk, "/api/state", {}).status == 405
    assert content_of(folder) == before


def test_a_long_body_is_refused(desk: OpenDesk, folder: Path, before: dict[str, bytes]) -> None:
    own = {"Origin": f"http://127.0.0.1:{desk.port}", "Content-Type": "application/json"}
    said = {**own, "Content-Length": str(LARGEST_BODY + 1)}
    assert ask(desk, "/api/start", method="POST", headers=said).status == 413
    unsaid = {**own, "Transfer-Encoding": "chunked"}
    assert ask(desk, "/api/start", method="POST", headers=unsaid).status == 411
    assert content_of(folder) == before


@pytest.mark.parametrize("content", [{}, {"start_s": "0.5"}, {"start_s": 1, "more": 1}, [], {"start_s": -1}])
def test_what_is_not_understood_changes_nothing(
    desk: OpenDesk, folder: Path, before: dict[str, bytes], content: Any
) -> None:
    assert post(desk, "/api/start", content).status == 400
    assert content_of(folder) == before


def test_the_browser_is_told_to_load_nothing_from_elsewhere(desk: OpenDesk) -> None:
    for path in ("/", "/static/desk.css", "/api/state", "/nothing"):
        headers = ask(desk, path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cache-control"] == "no-store"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert "server" not in headers


def test_it_listens_on_the_loopback_interface_alone(desk: OpenDesk) -> None:
    assert desk.listens_at[0] == "127.0.0.1"


def test_every_desk_has_a_token_of_its_own(desk: OpenDesk) -> None:
    from matchvision.desk.guarding import new_token

    tokens = {new_token() for _ in range(50)} | {desk.token}
    assert len(tokens) == 51
    assert all(len(token) >= 43 for token in tokens)
