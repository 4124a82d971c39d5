"""The desk's server: on the loopback interface alone, for as long as the person works there."""

import socket
import threading
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from matchvision.desk.answering import build_app
from matchvision.desk.bench import Bench
from matchvision.desk.guarding import Guard, new_token
from matchvision.errors import SetupError

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, eq=False)
class OpenDesk:
    """A desk that is ready to serve.

    Attributes
    ----------
    address : str
        The page's whole address, with the token in it.
    port : int
    token : str
    bench : Bench
    """

    address: str
    port: int
    token: str
    bench: Bench
    _server: uvicorn.Server
    _socket: socket.socket

    @property
    def listens_at(self) -> tuple[str, int]:
        """Interface and port."""
        host, port = self._socket.getsockname()[:2]
        return str(host), int(port)

    def serve(self) -> None:
        """Serve until interrupted or told to stop."""
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self._socket.close()

    def stop(self) -> None:
        """Tell the server to stop; `serve` then returns."""
        self._server.should_exit = True

    def serve_aside(self) -> threading.Thread:
        """Serve in a thread of its own, which is returned."""
        thread = threading.Thread(target=self.serve, name="desk", daemon=True)
        thread.start()
        return thread


def open_desk(path: Path, out: Path, port: int = 0) -> OpenDesk:
    """Make a run's desk ready.

    Parameters
    ----------
    path : Path
        The run sheet, or the folder that holds it.
    out : Path
        Where the results of an analysis go.
    port : int
        At which to listen; 0: one that is free.

    Raises
    ------
    SheetError, FootageError
        Where there is nothing to work on.
    SetupError
        Where the port is taken.
    """
    bench = Bench(path, out)
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((LOOPBACK, port))
        listening.listen()  # whoever asks before the server runs waits for it
    except OSError as reason:
        listening.close()
        raise SetupError(
            f"port {port} cannot be used ({reason.strerror})", do="leave --port out, and a free one is found"
        ) from reason
    port = int(listening.getsockname()[1])
    token = new_token()
    guard = Guard(build_app(bench), token, port)
    config = uvicorn.Config(
        guard, log_level="error", access_log=False, lifespan="off", server_header=False, ws="none", loop="asyncio",
        http="h11", timeout_graceful_shutdown=2,
    )  # fmt: skip
    server = uvicorn.Server(config)
    return OpenDesk(f"http://{LOOPBACK}:{port}/{token}/", port, token, bench, server, listening)
