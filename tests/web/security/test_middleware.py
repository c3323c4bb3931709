"""The guards, on a small application of their own and, where the wire matters, behind the real server."""

import socket
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from app.web.security import middleware
from app.wording.message import say
from app.wording.program.request_faults import RequestFault, notice_of

HOME = "http://127.0.0.1:8000"


def sentence(fault: RequestFault, **values: int) -> str:
    return say(notice_of(fault).sentence, **values)


def small_app() -> FastAPI:
    app = FastAPI()

    @app.get("/")
    def board() -> str:
        return "board"

    @app.get("/static/plain.css")
    def style() -> str:
        return "style"

    @app.post("/")
    async def store(request: Request) -> int:
        return len(await request.body())

    @app.get("/lax")
    def lax() -> Response:
        return Response("lax", headers={"referrer-policy": "unsafe-url", "x-own": "kept"})

    @app.get("/broken")
    def broken() -> None:
        raise RuntimeError("a page with a mistake in it")

    middleware.protect(app, lan_names=frozenset({"bench.example"}))
    return app


@pytest.fixture
def client() -> TestClient:
    return TestClient(small_app(), base_url=HOME)


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1:8000",
        "192.168.7.20",
        "[::1]:8000",
        "[fe80::1]",
        "localhost:8000",
        "LOCALHOST",
        "bench.example:8000",
        "bench.example.",
        socket.gethostname(),
    ],
)
def test_an_address_or_a_listed_name_is_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "other.example",
        "bench.example.other.example",
        "127.0.0.1.other.example",
        "localhost@other.example",
        "127.0.0.1:8000@other.example",
        "",
        "127.0.0.1:",
        "127.0.0.1:80:80",
        "0177.0.0.1",  # an octal spelling that some resolvers take for loopback
        "2130706433",  # and a decimal one
        "::1",
        "[127.0.0.1]",
        "[::1",
        "127.0.0.1/x",
        "localhost, other.example",
    ],
)
def test_any_other_host_is_refused_with_a_page(client: TestClient, host: str) -> None:
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 400
    assert sentence(RequestFault.UNKNOWN_HOST) in answer.text


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyz.-", min_size=1, max_size=40))
def test_no_invented_name_is_known(name: str) -> None:
    known = middleware.KnownHost(small_app(), frozenset({"localhost"}))
    assert known.knows(name) == (name.rstrip(".") == "localhost")


def test_two_host_headers_are_refused(client: TestClient) -> None:
    hosts = [("host", "127.0.0.1:8000"), ("host", "other.example")]
    assert client.get("/", headers=hosts).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": HOME},
        {"origin": HOME, "sec-fetch-site": "same-origin"},
    ],
)
def test_a_form_from_our_own_page_is_taken(client: TestClient, headers: dict[str, str]) -> None:
    assert client.post("/", headers=headers, content=b"abc").text == "3"


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "null"},
        {"origin": ""},
        {"origin": "http://other.example"},
        {"origin": "https://127.0.0.1:8000"},  # other scheme
        {"origin": "http://127.0.0.1:8001"},  # another program on this computer
        {"origin": "http://127.0.0.1"},
        {"origin": f"{HOME}/"},
        {"origin": f"{HOME}, {HOME}"},
        {"referer": f"{HOME}/"},
        {"origin": HOME, "sec-fetch-site": "cross-site"},
        {"origin": HOME, "sec-fetch-site": "same-site"},
        {"origin": HOME, "sec-fetch-site": "none"},
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "PROPFIND"])
def test_a_form_from_anywhere_else_is_refused(client: TestClient, headers: dict[str, str], method: str) -> None:
    answer = client.request(method, "/", headers=headers)
    assert answer.status_code == 403
    assert sentence(RequestFault.FOREIGN_ORIGIN) in answer.text


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/", {}, 200),
        ("GET", "/", {"host": "other.example"}, 400),
        ("POST", "/", {}, 403),
        ("GET", "/nowhere", {}, 404),
        ("POST", "/", {"origin": HOME, "content-length": "0"}, 200),
        ("GET", "/broken", {}, 500),
    ],
)
def test_every_answer_carries_the_headers(method: str, path: str, headers: dict[str, str], status: int) -> None:
    client = TestClient(small_app(), base_url=HOME, raise_server_exceptions=False)
    answer = client.request(method, path, headers=headers)
    assert answer.status_code == status
    for name, value in middleware.HEADERS.items():
        assert answer.headers[name.decode()] == value.decode()
    assert answer.headers["cache-control"] == "no-store"


def test_static_files_may_be_kept_but_are_asked_about(client: TestClient) -> None:
    assert client.get("/static/plain.css").headers["cache-control"] == "no-cache"


def test_a_mistake_in_a_page_reaches_the_log(client: TestClient) -> None:
    with pytest.raises(RuntimeError, match="a page with a mistake in it"):
        client.get("/broken")


@pytest.mark.parametrize("size", [0, 1, middleware.BODY_LIMIT])
def test_a_form_within_the_limit_arrives_whole(client: TestClient, size: int) -> None:
    assert client.post("/", headers={"origin": HOME}, content=b"x" * size).text == str(size)


def test_a_slow_page_is_given_up() -> None:
    app = FastAPI()
    asked = threading.Event()

    @app.get("/")
    def slow() -> str:
        asked.wait(5)
        return "late"

    app.add_middleware(middleware.LimitedTime, seconds=0.1)
    began = time.monotonic()
    answer = TestClient(app).get("/")
    took = time.monotonic() - began
    asked.set()
    assert answer.status_code == 503
    assert sentence(RequestFault.TIMED_OUT) in answer.text
    assert took < 2


def test_a_time_out_of_a_page_s_own_is_a_mishap() -> None:
    app = FastAPI()

    @app.get("/")
    def broken() -> None:
        raise TimeoutError("of its own")

    app.add_middleware(middleware.LimitedTime, seconds=60)
    with pytest.raises(TimeoutError, match="of its own"):
        TestClient(app).get("/")


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The small application behind the real server, where a request is bytes on a wire."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(small_app(), log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield listening.getsockname()[1]
        server.should_exit = True
        thread.join()


def talk(port: int, head: str, body: bytes) -> str:
    """Send everything, as a browser does, and only then read the answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as wire:
        own = f"Host: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nConnection: close\r\n"
        wire.sendall(f"POST / HTTP/1.1\r\n{own}{head}\r\n".encode())
        for start in range(0, len(body), 65536):
            wire.sendall(body[start : start + 65536])
        answer = b""
        while part := wire.recv(65536):
            answer += part
    return answer.decode()


ELEVEN_MB = b"x" * (11 * 1024 * 1024)


def test_an_eleven_megabyte_form_gets_the_page(port: int) -> None:
    answer = talk(port, f"Content-Length: {len(ELEVEN_MB)}\r\n", ELEVEN_MB)
    assert answer.startswith("HTTP/1.1 413 ")
    assert sentence(RequestFault.TOO_LARGE, most=1024) in answer


def test_a_chunked_eleven_megabyte_form_gets_the_page(port: int) -> None:
    chunk = 65536
    chunks = b"".join(b"%x\r\n%b\r\n" % (chunk, ELEVEN_MB[:chunk]) for _ in range(len(ELEVEN_MB) // chunk))
    answer = talk(port, "Transfer-Encoding: chunked\r\n", chunks + b"0\r\n\r\n")
    assert answer.startswith("HTTP/1.1 413 ")
    assert sentence(RequestFault.TOO_LARGE, most=1024) in answer


def test_a_sender_who_hangs_up_half_way_is_forgotten(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as wire:
        own = f"Host: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
        wire.sendall(f"POST / HTTP/1.1\r\n{own}Content-Length: 1000\r\n\r\nhalf".encode())
    assert talk(port, "Content-Length: 3\r\n", b"abc").endswith("3")


def test_json_answers_are_guarded_too() -> None:
    app = FastAPI(default_response_class=JSONResponse)
    middleware.protect(app)
    assert TestClient(app, base_url=HOME).get("/nowhere").headers["x-content-type-options"] == "nosniff"


def test_a_page_cannot_say_otherwise_beside_the_headers_of_all(client: TestClient) -> None:
    answer = client.get("/lax")
    assert answer.headers.get_list("referrer-policy") == ["same-origin"]
    assert answer.headers["x-own"] == "kept"
