"""Raw requests to a desk, as any program on this computer could send them."""

import http.client
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from matchvision.desk import OpenDesk


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def data(self) -> Any:
        return json.loads(self.body)


def ask(
    desk: OpenDesk,
    path: str,
    *,
    method: str = "GET",
    body: bytes | None = None,
    headers: Mapping[str, str | None] | None = None,
    token: str | None = None,
) -> Answer:
    """Send a request; a header that is None is left out."""
    given: dict[str, str | None] = {"Host": f"127.0.0.1:{desk.port}", **(headers or {})}
    whole = f"/{desk.token if token is None else token}{path}" if token != "" else path
    connection = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=60)
    try:
        connection.putrequest(method, whole, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            if value is not None:
                connection.putheader(name, value)
        if body is not None and "Content-Length" not in given:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders(body)
        answer = connection.getresponse()
        try:
            content = answer.read()
        except ConnectionResetError:
            # A request that is refused by its head alone may be answered and hung up on before its body is read.
            content = b""
        return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, content)
    finally:
        connection.close()


def post(desk: OpenDesk, path: str, content: Any, **changes: Any) -> Answer:
    """Post JSON as the desk's own page does."""
    headers = {
        "Origin": f"http://127.0.0.1:{desk.port}",
        "Content-Type": "application/json",
        **changes.pop("headers", {}),
    }
    return ask(desk, path, method="POST", body=json.dumps(content).encode(), headers=headers, **changes)
