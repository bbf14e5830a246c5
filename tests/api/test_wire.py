"""Input that only a raw socket can send, to both parsers (wire cases 11–15, 50, 51); timeouts of 8 s are 1 s here."""

import json
import socket
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from tests.api.conftest import Server


def connect(server: Server) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.port), timeout=10)


def say(server: Server, sent: bytes) -> bytes:
    """Everything received until the server closes the connection."""
    with connect(server) as line:
        line.sendall(sent)
        return rest(line)


def rest(line: socket.socket) -> bytes:
    found = b""
    try:
        while part := line.recv(65_536):
            found += part
    except ConnectionResetError:  # closed while we were still sending: the received part has been read
        return found
    return found


def status(response: bytes) -> int:
    return int(response.split(b" ", 2)[1]) if response else 0


def problem(response: bytes) -> dict[str, object]:
    head, _, body = response.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head.lower()
    assert b"content-security-policy" in head.lower()
    found: dict[str, object] = json.loads(body)
    return found


CLIENT = httpx.Client(verify=False, limits=httpx.Limits(max_keepalive_connections=0))


def get(server: Server, path: str = "/healthz") -> httpx.Response:
    return CLIENT.get(f"http://127.0.0.1:{server.port}{path}")


HEAD = b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n"
POST = b"POST /v1/things HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
CLOSE = b"Connection: close\r\n\r\n"


def test_an_answer_names_neither_server_nor_machine(server: Server) -> None:
    response = get(server)
    assert response.json() == {"status": "alive"}
    assert "server" not in response.headers


@pytest.mark.parametrize(
    ("sent", "statuses"),
    [
        (POST + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", {400}),
        (POST + b"Content-Length: 5\r\nContent-Length: 6\r\n\r\n12345", {400}),
        (POST + b"Content-Length: -5\r\n\r\n", {400}),
        (POST + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n", {400}),
        (b"GET /healthz HTTP/1.1\nHost: localhost\n\n", {400}),
        (b"GET /healthz\r\n\r\n", {400}),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 40, {400}),
        (b"GET /healthz HTTP/1.1\r\nHost : localhost\r\n\r\n", {400}),
        (b"GET /healthz HTTP/1.1\r\nX: a\r\n" + CLOSE, {400}),
        (HEAD + b"Host: localhost\r\n" + CLOSE, {400}),
        (b"GET /healthz HTTP/1.1\r\nHost: evil.test\r\n" + CLOSE, {400}),
        (b"GET http://evil.test/healthz HTTP/1.1\r\nHost: evil.test\r\n" + CLOSE, {400}),
        (b"GET http://evil.test/healthz HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {200, 400, 404}),
        (b"FOO /healthz HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {400, 405}),
        (b"TRACE /healthz HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {405}),
        (b"CONNECT evil.test:443 HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {400, 404, 405}),
        (b"OPTIONS * HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {400, 404}),
        (b"GET /healthz?q=" + b"9" * 9_000 + b" HTTP/1.1\r\nHost: localhost\r\n" + CLOSE, {414}),
        (HEAD + b"X: " + b"x" * 20_000 + b"\r\n" + CLOSE, {431}),
        (HEAD + b"".join(b"X-%d: \r\n" % number for number in range(200)) + CLOSE, {431}),
        (HEAD + b"X: " + b"x" * 300_000, {431, 400}),
    ],
)
def test_what_is_not_a_request_of_ours_is_a_problem_not_a_hang(server: Server, sent: bytes, statuses: set[int]) -> None:
    begun = time.monotonic()
    response = say(server, sent)
    assert status(response) in statuses, response[:300]
    if status(response) != 200:
        assert problem(response)["status"] == status(response)
        assert b"evil" not in response
    assert time.monotonic() - begun < 5


def test_crlf_in_the_address_ends_in_no_header(server: Server) -> None:
    response = say(server, b"GET /v1/things/a%0d%0aX-Evil:1 HTTP/1.1\r\nHost: localhost\r\n" + CLOSE)
    assert status(response) == 404
    assert b"\r\nx-evil" not in response.lower()


def test_head_has_no_body_on_the_wire_and_the_connection_goes_on(server: Server) -> None:
    head = b"HEAD /v1/things/a HTTP/1.1\r\nHost: localhost\r\n\r\n"
    response = say(server, head + HEAD + CLOSE)
    first, _, second = response.partition(b"\r\n\r\n")
    assert b"content-length: " in first
    assert second.startswith(b"HTTP/1.1 200")


def test_a_header_that_never_ends_is_a_408(server: Server) -> None:
    begun = time.monotonic()
    with connect(server) as line:
        line.sendall(HEAD)
        response = drip(line, b"X: y\r\n")
    assert status(response) == 408
    assert problem(response)["type"] == "/problems/too-slow"
    assert time.monotonic() - begun < 3


def test_a_body_that_never_ends_is_a_408(server: Server) -> None:
    with connect(server) as line:
        line.sendall(POST + b"Content-Length: 1000\r\n\r\n")
        response = drip(line, b" ")
    assert status(response) == 408
    assert problem(response)["status"] == 408


def drip(line: socket.socket, crumb: bytes) -> bytes:
    """Sends a few bytes every 50 ms for at most 5 s, and reads the answer once the server gives up."""
    line.settimeout(0.05)
    for _ in range(100):
        try:
            first = line.recv(65_536)
        except TimeoutError:
            line.sendall(crumb)
            continue
        line.settimeout(5)
        return first + rest(line)
    pytest.fail("the server let a slow sender go on for 5 s")


@pytest.mark.parametrize("sent", [b"", b"\r\n", HEAD + b"\r\n"])
def test_a_silent_client_is_disconnected(server: Server, sent: bytes) -> None:
    with connect(server) as line:
        line.sendall(sent)
        begun = time.monotonic()
        rest(line)
        assert time.monotonic() - begun < 5


def test_empty_lines_do_not_keep_a_connection_open(server: Server) -> None:
    begun = time.monotonic()
    with connect(server) as line:
        line.settimeout(0.1)
        try:
            while time.monotonic() - begun < 5:
                try:
                    if line.recv(1_000) == b"":
                        break
                except TimeoutError:
                    line.sendall(b"\r\n")
        except (ConnectionResetError, BrokenPipeError):
            return  # closed, as it should be
        assert time.monotonic() - begun < 4


def test_fifty_slow_senders_do_not_slow_the_others(server: Server) -> None:
    lines = [connect(server) for _ in range(50)]
    try:
        for number, line in enumerate(lines):
            line.sendall(HEAD if number % 2 else POST + b"Content-Length: 1000\r\n\r\n")
        for _ in range(20):
            begun = time.monotonic()
            assert get(server, "/v1/things/a").status_code == 200
            assert time.monotonic() - begun < 1
        assert [status(rest(line)) for line in lines] == [408] * 50
    finally:
        for line in lines:
            line.close()


def test_a_reader_that_stops_is_cut_off(server: Server) -> None:
    with socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
        line.settimeout(10)
        line.connect(("127.0.0.1", server.port))
        line.sendall(b"GET /v1/large HTTP/1.1\r\nHost: localhost\r\n" + CLOSE)
        time.sleep(3.5)
        got = len(rest(line))
    assert got < 50_000_000  # of 200 MB: the rest was in the buffers


def test_a_large_body_is_refused_before_it_is_read(server: Server) -> None:
    with connect(server) as line:
        line.sendall(POST + b"Content-Length: 50000000\r\n" + CLOSE)
        assert status(line.recv(65_536)) == 413


def test_a_chunked_body_is_refused_at_the_byte_too_many(server: Server) -> None:
    with connect(server) as line:
        line.sendall(POST + b"Transfer-Encoding: chunked\r\n\r\n")
        for _ in range(4):
            line.sendall(b"8000\r\n" + b" " * 0x8000 + b"\r\n")
        assert status(line.recv(65_536)) == 413


def test_a_steady_large_body_is_not_taken_for_a_slow_one(server: Server) -> None:
    body = b'{"value": 1, "name": "' + b"x" * 90_000 + b'"}'
    with connect(server) as line:
        line.sendall(POST + b"Content-Length: %d\r\n" % len(body) + CLOSE)
        for start in range(0, len(body), 15_000):  # 0.4 s each, 2.4 s in all: over twice the timeout
            line.sendall(body[start : start + 15_000])
            time.sleep(0.4)
        assert status(rest(line)) == 200


def test_idle_connections_do_not_keep_others_out(server: Server) -> None:
    lines = [connect(server) for _ in range(200)]
    try:
        assert get(server).status_code == 200
    finally:
        for line in lines:
            line.close()


def test_one_connection_too_many_is_refused(server: Server) -> None:
    time.sleep(0.2)
    lines = [connect(server) for _ in range(301)]
    try:
        response = rest(lines[-1])
        assert status(response) == 503
        assert b"retry-after" in response.lower()
        assert problem(response)["type"] == "/problems/unavailable"
    finally:
        for line in lines:
            line.close()


def test_requests_side_by_side_are_all_answered(server: Server) -> None:
    with ThreadPoolExecutor(20) as pool:
        found = list(pool.map(lambda _: get(server, "/v1/pause").text, range(20)))
    assert found == ["done"] * 20


def test_a_pipeline_is_answered_in_order(server: Server) -> None:
    pause = b"GET /v1/pause HTTP/1.1\r\nHost: localhost\r\n\r\n"
    response = say(server, pause + pause + HEAD + CLOSE)
    assert response.count(b"HTTP/1.1 200") == 3
    assert response.index(b"done") < response.index(b"alive")


def test_no_thread_is_used_for_a_request(server: Server) -> None:
    before = threading.active_count()
    assert get(server, "/v1/things/a").status_code == 200
    assert threading.active_count() == before
