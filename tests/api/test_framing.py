"""Where a request ends and which host it addresses, with both parsers: an upgrade offer, a trailer or an expectation
does not change that (wire cases 53, 54, 57). The rules are those of RFC 9110 and RFC 9112."""

import json
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

from tests.api.conftest import Server
from tests.api.test_wire import CLOSE, HEAD, connect, problem, rest, say, status

BODY = b'{"value": 1, "name": "a"}'
POST = b"POST /v1/things HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
LENGTH = b"Content-Length: %d\r\n" % len(BODY)
CHUNKED = b"Transfer-Encoding: chunked\r\n"
IN_CHUNKS = b"a\r\n" + BODY[:10] + b"\r\nf\r\n" + BODY[10:] + b"\r\n0\r\n"
FORMS = {"length": LENGTH + b"\r\n" + BODY, "chunks": CHUNKED + b"\r\n" + IN_CHUNKS + b"\r\n"}
OFFERS = {
    "h2c": b"Connection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMAAABkAAQCAAAAAAIAAAAA\r\n",
    "websocket": b"Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n",
    "foo": b"connection: keep-alive, upgrade\r\nUPGRADE: foo/1, bar\r\n",
    "twice": b"Connection: Upgrade\r\nConnection: keep-alive\r\nUpgrade: a\r\nUpgrade: b\r\n",
}
JDK = (
    b"POST /v1/things HTTP/1.1\r\nConnection: Upgrade, HTTP2-Settings\r\nContent-Length: 25\r\nHost: localhost\r\n"
    b"HTTP2-Settings: AAEAAEAAAAIAAAAAAAMAAAAAAAQBAAAAAAUAAEAAAAYABgAA\r\nUpgrade: h2c\r\n"
    b"User-Agent: Java-http-client/17.0.15\r\nContent-Type: application/json\r\n\r\n"
)
"""The header section that OpenJDK 17's java.net.http.HttpClient sends unless it is set to HTTP/1.1, as recorded."""


def answers(response: bytes) -> list[tuple[int, bytes]]:
    """Status and body of each answer on a connection; every answer here has a Content-Length."""
    found = []
    while response:
        head, _, response = response.partition(b"\r\n\r\n")
        lines = dict(line.lower().split(b": ", 1) for line in head.split(b"\r\n")[1:])
        length = int(lines[b"content-length"])
        found.append((int(head.split(b" ", 2)[1]), response[:length]))
        response = response[length:]
    return found


def say_in_parts(server: Server, *parts: bytes) -> bytes:
    with connect(server) as line:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for part in parts:
            line.sendall(part)
            time.sleep(0.05)
        return rest(line)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("offer", OFFERS)
def test_a_request_that_offers_another_protocol_is_read_as_any_other(server: Server, offer: str, form: str) -> None:
    """In one packet, split in two at several places, and inside a pipeline: each request gets its own answer."""
    request = POST + OFFERS[offer] + FORMS[form]
    end = POST.replace(b"/things", b"/things/a").replace(b"POST", b"GET") + CLOSE
    for sent in (request + request + end, request + HEAD + b"\r\n" + request + end):
        found = answers(say(server, sent))
        assert found[0] == (200, b"1 a")
        assert found[-2] == (200, b"1 a")
        assert [code for code, _ in found] == [200] * sent.count(b" HTTP/1.1\r\n")
    for cut in range(len(POST), len(request), 25):
        found = answers(say_in_parts(server, request[:cut], request[cut:] + end))
        assert [code for code, _ in found] == [200, 200]
        assert found[0][1] == b"1 a"


def test_an_offer_without_a_body_keeps_the_connection_in_step(server: Server) -> None:
    offer = HEAD + OFFERS["h2c"] + b"\r\n"
    found = answers(say(server, offer + offer + HEAD + b"Connection: close, Upgrade\r\nUpgrade: foo\r\n\r\n"))
    assert [code for code, _ in found] == [200, 200, 200]


def test_a_body_after_an_offer_is_no_second_request(server: Server) -> None:
    hidden = b"GET /v1/things/hidden HTTP/1.1\r\nHost: localhost\r\n\r\n"
    for offer in OFFERS.values():
        request = POST + offer + b"Content-Length: %d\r\n\r\n" % len(hidden) + hidden
        found = answers(say(server, request + HEAD + CLOSE))
        assert [code for code, _ in found] == [400, 200]
        assert b"malformed" in found[0][1]


def test_the_limits_of_a_body_hold_after_an_offer(server: Server) -> None:
    too_long = POST + OFFERS["foo"] + b"Content-Length: 50000000\r\n\r\n"
    with connect(server) as line:
        line.sendall(too_long)
        assert status(line.recv(65_536)) == 413
    both = POST + OFFERS["foo"] + LENGTH + CHUNKED + b"\r\n" + IN_CHUNKS + b"\r\n"
    assert status(say(server, both)) == 400
    assert status(say(server, POST + OFFERS["h2c"] + LENGTH + b"\r\n" + BODY[:5])) == 408


def test_the_default_client_of_openjdk_gets_an_answer_to_each_request(server: Server) -> None:
    found = answers(say_in_parts(server, JDK, BODY, JDK + BODY, HEAD + CLOSE))
    assert found[:2] == [(200, b"1 a")] * 2
    assert [code for code, _ in found] == [200] * 3


@pytest.mark.skipif(shutil.which("curl") is None, reason="there is no curl on this machine")
def test_curl_that_offers_http_2_gets_an_answer(server: Server) -> None:
    url = f"http://localhost:{server.port}/v1/things"
    command = ["curl", "-sS", "--http2", "-H", "Content-Type: application/json", "-d", BODY.decode(), url, url]
    assert subprocess.run(command, capture_output=True, timeout=20).stdout == b"1 a1 a"


def test_connect_is_refused_and_its_connection_does_not_get_out_of_step(server: Server) -> None:
    for target in (b"/v1/things", b"localhost:80"):
        sent = b"CONNECT " + target + b" HTTP/1.1\r\nHost: localhost\r\n" + LENGTH + b"\r\n" + BODY + HEAD + CLOSE
        codes = [code for code, _ in answers(say(server, sent))]
        assert codes[0] in {400, 404, 405}
        assert codes[1:] in ([], [200])


DECIDING = (
    b"Host: evil.test\r\nAccept: text/html\r\nAuthorization: Bearer legwork-0-x\r\nX-Forwarded-For: 10.9.8.7\r\n"
    b"Content-Type: text/csv\r\nExpect: 100-continue\r\n"
    b"X-Request-Id: from-a-trailer\r\nContent-Encoding: gzip\r\nCookie: session=x\r\nUpgrade: h2c\r\n"
)


def test_trailers_decide_nothing(server: Server) -> None:
    """A body with trailers gets the same answer as one without, and so does the request after it."""
    for trailers in (b"", DECIDING, b"A: b\r\n" * 80):
        plain = POST + CHUNKED + b"\r\n" + IN_CHUNKS + trailers + b"\r\n"
        response = say(server, plain + HEAD + CLOSE)
        found = answers(response)
        assert found == [(200, b"1 a"), (200, b'{"status":"alive"}')]
        assert b"from-a-trailer" not in response
    assert "10.9.8.7" not in server.log.getvalue()


def test_a_trailer_may_close_the_connection_but_leaves_no_request_unanswered_on_an_open_one(server: Server) -> None:
    trailer = b"Connection: close, Upgrade\r\nUpgrade: h2c\r\n\r\n"
    response = say(server, POST + CHUNKED + b"\r\n" + IN_CHUNKS + trailer + HEAD + CLOSE)
    found = answers(response)
    assert found[0] == (200, b"1 a")
    assert len(found) == 2 or b"\r\nconnection: close\r\n" in response


@pytest.mark.parametrize("framing", [b"Content-Length: 3\r\n", b"Transfer-Encoding: gzip\r\n"])
def test_trailers_that_would_say_where_a_body_ends_are_refused_or_dropped(server: Server, framing: bytes) -> None:
    """RFC 9110, 6.5.1: no sender may send them. Whatever the parser does, the bytes after them keep their meaning."""
    found = answers(say(server, POST + CHUNKED + b"\r\n" + IN_CHUNKS + framing + b"\r\n" + HEAD + CLOSE))
    assert [code for code, _ in found] in ([400], [200, 200])


@pytest.mark.parametrize("offer", [b"", OFFERS["h2c"]])
@pytest.mark.parametrize(
    "crumb",
    [b"X-%d: y\r\n", b"x" * 10, b"Host: evil.test\r\n"],
    ids=["thousands of lines", "one endless value", "hosts"],
)
def test_trailers_without_end_are_refused_within_the_limits_of_a_header(
    server: Server, crumb: bytes, offer: bytes
) -> None:
    before = _memory()
    with connect(server) as line:
        line.sendall(POST + offer + CHUNKED + b"\r\n" + IN_CHUNKS + b"T: ")
        sent = 0
        try:
            for number in range(2_500):
                part = b"".join(crumb % (number * 999 + each) if b"%d" in crumb else crumb for each in range(999))
                line.sendall(part)
                sent += len(part)
        except (ConnectionResetError, BrokenPipeError):
            pass
        response = rest(line)
    assert sent < 15_000_000  # of 25 to 42 MB: the rest was in the buffers of both sides
    if response:  # a reset may have dropped it
        assert status(response) == 431
        assert problem(response)["type"] == "/problems/header-too-large"
    assert _memory() - before < 20_000_000


def test_chunk_extensions_without_end_are_refused(server: Server) -> None:
    with connect(server) as line:
        line.sendall(POST + CHUNKED + b"\r\n" + b"5;a=")
        time.sleep(0.1)
        line.sendall(b"x" * 60_000)
        assert status(rest(line)) in {400, 431}


def _memory() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


@pytest.mark.parametrize("coding", [b"gzip, chunked", b"chunked, gzip", b"gzip", b"identity", b"x"])
def test_a_transfer_coding_but_chunked_is_not_understood(server: Server, coding: bytes) -> None:
    for offer in (b"", OFFERS["h2c"]):
        response = say(
            server, POST + offer + b"Transfer-Encoding: " + coding + b"\r\n\r\n" + IN_CHUNKS + b"\r\n" + HEAD
        )
        assert status(response) in ({501} if coding == b"gzip, chunked" else {501, 400})
        assert response.count(b"HTTP/1.1 ") == 1
        assert b"\r\nconnection: close" in response.lower()
        assert problem(response)["status"] == status(response)


def test_two_lines_of_transfer_codings_are_not_understood(server: Server) -> None:
    sent = POST + b"Transfer-Encoding: gzip\r\n" + CHUNKED + b"\r\n" + IN_CHUNKS + b"\r\n"
    assert status(say(server, sent)) in {400, 501}


def test_the_target_decides_over_the_host_line(server: Server) -> None:
    """RFC 9112, 3.2.2: with an absolute target the Host line is ignored."""
    host = b"localhost:%d" % server.port
    link = b"GET http://" + host + b"/v1/things/a?size=1 HTTP/1.1\r\nHost: evil.test\r\n" + CLOSE
    assert status(say(server, link)) == 200
    for target in (b"http://evil.test/healthz", b"https://evil.test", b"http://localhost@evil.test/healthz"):
        response = say(server, b"GET " + target + b" HTTP/1.1\r\nHost: localhost\r\n" + CLOSE)
        assert status(response) == 400
        assert problem(response)["type"] == "/problems/host-unknown"
    assert status(say(server, b"POST http://localhost?q=1 HTTP/1.1\r\nHost: localhost\r\n" + CLOSE)) == 405
    for target in (b"ftp://localhost/healthz", b"localhost/healthz", b"http:/healthz"):
        assert status(say(server, b"GET " + target + b" HTTP/1.1\r\nHost: localhost\r\n" + CLOSE)) == 400
    for hosts in (b"", b"Host: localhost\r\nHost: localhost\r\n"):
        assert status(say(server, b"GET http://localhost/healthz HTTP/1.1\r\n" + hosts + CLOSE)) == 400


@pytest.mark.parametrize(
    ("request_line", "more", "code"),
    [
        (b"POST /v1/nothing HTTP/1.1\r\nHost: localhost", b"", 404),
        (b"POST /v1/things HTTP/1.1\r\nHost: evil.test", b"", 400),
        (b"DELETE /v1/things HTTP/1.1\r\nHost: localhost", b"", 405),
        (b"POST /v1/things HTTP/1.1\r\nHost: localhost", b"Content-Encoding: gzip\r\n", 415),
    ],
)
def test_a_refused_expectation_closes_the_connection(
    server: Server, request_line: bytes, more: bytes, code: int
) -> None:
    """The client then sends no body; if the connection stayed open, its next request would be read as one (RFC 9110,
    10.1.1)."""
    head = request_line + b"\r\nContent-Type: application/json\r\nExpect: 100-continue\r\n" + more + LENGTH + b"\r\n"
    with connect(server) as line:
        line.sendall(head)
        response = rest(line)
    assert status(response) == code
    assert response.lower().count(b"\r\nconnection: close\r\n") == 1


def test_an_expectation_that_is_met_is_met_once_and_the_connection_goes_on(server: Server) -> None:
    with connect(server) as line:
        line.sendall(POST + b"Expect: 100-continue\r\n" + LENGTH + b"\r\n")
        assert line.recv(1_000) == b"HTTP/1.1 100 Continue\r\n\r\n"
        line.sendall(BODY + HEAD + CLOSE)
        assert [code for code, _ in answers(rest(line))] == [200, 200]


def test_what_is_unreadable_after_a_request_is_refused_after_its_answer(server: Server) -> None:
    pause = b"GET /v1/pause HTTP/1.1\r\nHost: localhost\r\n\r\n"
    response = say(server, pause + pause + b"GET nonsense\r\n\r\n")
    assert [int(part[:3]) for part in response.split(b"HTTP/1.1 ")[1:]] == [200, 200, 400]
    response = say(server, pause + POST + CHUNKED + b"\r\nzz\r\n")
    assert [int(part[:3]) for part in response.split(b"HTTP/1.1 ")[1:]] == [200, 400]


def test_a_request_that_was_answered_gets_no_second_answer(server: Server) -> None:
    """It is refused after its header section; its body can then only end the connection."""
    with connect(server) as line:
        line.sendall(POST.replace(b"/v1/things", b"/v1/nothing") + CHUNKED + b"\r\n1\r\n")
        first = line.recv(65_536)
        assert status(first) == 404
        line.sendall(b"a\r\nzz\r\n")
        assert rest(line) == b""


def test_a_problem_says_what_it_is(server: Server) -> None:
    response = say(server, POST + b"Transfer-Encoding: gzip, chunked\r\n\r\n")
    assert json.loads(response.partition(b"\r\n\r\n")[2])["type"] == "/problems/not-implemented"
