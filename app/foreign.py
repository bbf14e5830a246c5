"""Reads bytes that somebody else made, within bounds: answers of other servers, JSON, zip archives, files.

Every reader raises ForeignFault, which says in a few words what is wrong. Text for a terminal goes through `escaped`.
"""

import json
import re
import stat
import struct
import threading
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import socket

    import httpx

MOST_ANSWER = 16_000_000
"""Bytes of one answer of a server, unpacked. A page of 1,000 changes has about 1 MB."""
MOST_SECONDS = 60.0
"""Seconds for one answer from the first byte sent to the last byte read, however steadily it drips."""
MOST_VALUES = 500_000
"""Keys and values of one JSON text: each takes up to 100 bytes of memory."""
DEEPEST = 40
"""Levels of one JSON text."""

MOST_DIRECTORY = 2_000_000
"""Bytes of a zip's list of members; a member takes about 100."""

_END, _LONGEST_COMMENT, _LOCATOR, _ENDS_64 = 22, 65_535, 20, 76
"""Sizes of records at the end of a zip (APPNOTE 4.3.14 to 4.3.16): the end, its comment, and Zip64's two before it."""
_CHUNK = 65_536
_LONGEST_NUMBER, _FARTHEST_EXPONENT = 64, 300
_ESCAPED = re.compile(rb"\\u(?:0000|[dD][89a-fA-F])")
_STRING = re.compile(rb'"(?>[^"\\]+|\\.)*+"?', re.DOTALL)
_ONE_BRACKET = bytes.maketrans(b"{}", b"[]")
_NO_MARK = bytes(set(range(256)) - set(b"[]{},:"))


class ForeignFault(ValueError):
    """Bytes from elsewhere are not what they should be, or too many, or too slow."""


def escaped(text: str) -> str:
    """Text with each character that a terminal may act on as `\\u001b`; only line ends and spaces stay as they are."""
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(each if _is_harmless(each) else json.dumps(each)[1:-1] for each in text)


def _is_harmless(character: str) -> bool:
    return character.isprintable() or character == "\n" or unicodedata.category(character) == "Zs"


def read_json(content: bytes, what: str) -> Any:
    """The value of a JSON text (UTF-8): decimal fractions as Decimal with their digits, whole numbers as int.

    Raises ForeignFault for anything else, for `NaN`, and for more than MOST_VALUES or DEEPEST.
    """
    marks = _STRING.sub(b"", content).translate(_ONE_BRACKET, _NO_MARK)
    if marks.count(b",") + marks.count(b":") > MOST_VALUES:
        raise ForeignFault(f"{what} has more than {MOST_VALUES:,} values")
    brackets = marks.translate(None, b",:")
    for _ in range(DEEPEST):
        brackets = brackets.replace(b"[]", b"")
    if brackets:
        raise ForeignFault(f"{what} is nested deeper than {DEEPEST} levels, or is not JSON")
    try:
        value = json.loads(content.decode(), parse_float=_decimal, parse_int=_integer, parse_constant=_refused)
    except (ValueError, RecursionError):
        raise ForeignFault(f"{what} is not JSON, or has a number out of all bounds") from None
    if _ESCAPED.search(content) and not all(map(_is_storable, _texts(value))):
        raise ForeignFault(f"{what} has a character that is none (U+0000 or half of a pair)")
    return value


def _decimal(text: str) -> Decimal:
    found = Decimal(text)
    if len(text) > _LONGEST_NUMBER or abs(found.adjusted()) > _FARTHEST_EXPONENT:
        raise ValueError(text)
    return found


def _integer(text: str) -> int:
    if len(text) > _LONGEST_NUMBER:
        raise ValueError(text)
    return int(text)


def _refused(name: str) -> None:
    raise ValueError(name)


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield name
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _is_storable(text: str) -> bool:
    return "\x00" not in text and not any("\ud800" <= each <= "\udfff" for each in text)


def fetch(client: "httpx.Client", request: "httpx.Request", *, seconds: float = MOST_SECONDS) -> "httpx.Response":
    """The whole answer of a server, at most MOST_ANSWER bytes after unpacking, in at most `seconds`.

    Raises ForeignFault for what is larger, slower, or packed in another way than gzip, and httpx.HTTPError if the
    connection fails before that.
    """
    import httpx

    request.headers["Accept-Encoding"] = "gzip"
    with _deadline(request, seconds) as is_over:
        try:
            response = client.send(request, stream=True)
            try:
                content = b"".join(_unpacked(response))
            finally:
                response.close()
        except httpx.HTTPError:
            if is_over():
                raise ForeignFault(f"the answer takes longer than {seconds:.0f} s") from None
            raise
        if is_over():  # a body without a length ends where the connection was cut
            raise ForeignFault(f"the answer takes longer than {seconds:.0f} s")
    kept = [(name, value) for name, value in response.headers.multi_items() if name not in _OF_THE_BODY]
    return httpx.Response(response.status_code, headers=kept, content=content, request=request)


_OF_THE_BODY = {"content-encoding", "content-length", "transfer-encoding"}


def _unpacked(response: "httpx.Response") -> Iterator[bytes]:
    """The body in parts. Never more than MOST_ANSWER bytes are unpacked, whatever the packed bytes say."""
    coding = response.headers.get("content-encoding", "identity").strip().lower()
    if coding not in ("identity", "gzip"):
        raise ForeignFault(f"the answer is packed as {escaped(coding)[:40]!r}, not as gzip")
    packed = zlib.decompressobj(16 + zlib.MAX_WBITS) if coding == "gzip" else None
    left = MOST_ANSWER
    for raw in response.iter_raw(_CHUNK):
        try:
            part = raw if packed is None else packed.decompress(raw, left + 1)
        except zlib.error:
            raise ForeignFault("the answer is not gzip") from None
        left -= len(part)
        if left < 0:
            raise ForeignFault(f"the answer has more than {MOST_ANSWER:,} bytes")
        yield part
    if packed is not None and not packed.eof:
        raise ForeignFault("the answer ends too early")


@contextmanager
def _deadline(request: "httpx.Request", seconds: float) -> Iterator[Callable[[], bool]]:
    """Cuts the connection of a request after `seconds`: httpx limits each read, not all of them together.

    The client must open a connection for each request, as `one_request_each` makes it.
    """
    lines: list[socket.socket] = []
    over = threading.Event()

    def note(event: str, info: dict[str, Any]) -> None:
        if event.endswith(("connect_tcp.complete", "start_tls.complete")):
            lines.append(info["return_value"].get_extra_info("socket"))
            if over.is_set():
                cut()

    def cut() -> None:
        over.set()
        for line in lines:
            with suppress(OSError):
                line.shutdown(2)

    request.extensions = {**request.extensions, "trace": note}
    clock = threading.Timer(seconds, cut)
    clock.daemon = True
    clock.start()
    try:
        yield over.is_set
    finally:
        clock.cancel()


def one_request_each() -> "httpx.Limits":
    """Limits of a client for `fetch`: no connection is kept, so that each can be cut when its time is up."""
    import httpx

    return httpx.Limits(max_keepalive_connections=0)


def regular(path: Path) -> None:
    """Raises ForeignFault unless a path is a regular file or a folder: a device or a pipe may never end."""
    mode = path.stat().st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise ForeignFault("it is neither a file nor a folder")


def open_zip(path: Path) -> zipfile.ZipFile:
    """A zip for reading, if its list of members has at most MOST_DIRECTORY bytes: all of it goes into memory.

    Raises ForeignFault if that is larger or the path is a device, BadZipFile, OSError.
    """
    regular(path)
    with path.open("rb") as stream:
        stream.seek(-min(path.stat().st_size, _END + _LONGEST_COMMENT + _ENDS_64), 2)
        tail = stream.read()
    at = tail.rfind(b"PK\x05\x06")
    size = struct.unpack_from("<L", tail, at + 12)[0] if 0 <= at <= len(tail) - _END else 0
    if at >= _ENDS_64 and tail[at - _LOCATOR : at].startswith(b"PK\x06\x07"):  # Zip64: the sizes are in another record
        size = struct.unpack_from("<Q", tail, at - _ENDS_64 + 40)[0]
    if size > MOST_DIRECTORY:
        raise ForeignFault(f"its list of members has {size:,} bytes; at most {MOST_DIRECTORY:,} are read")
    return zipfile.ZipFile(path)


def unpack(path: Path, into: Path, names: re.Pattern[str], *, most_bytes: int, most_shrunk: int) -> None:
    """Unpack a zip whose members have distinct names that match `names` into a folder.

    Before a byte is written, refuses members that together declare more than `most_bytes`, or shrank more than
    `most_shrunk` times from over a megabyte. Raises ForeignFault; OSError if the disk is full.
    """
    try:
        with open_zip(path) as archive:
            members = archive.infolist()
            if len({each.filename for each in members}) < len(members):
                raise ForeignFault("it holds a name twice")
            for each in members:
                if not names.fullmatch(each.filename):
                    raise ForeignFault("it holds files of another kind")
                if each.file_size > max(1_000_000, most_shrunk * each.compress_size):
                    raise ForeignFault(
                        f"{each.filename} unpacks from {each.compress_size:,} to {each.file_size:,} bytes"
                    )
            if (total := sum(each.file_size for each in members)) > most_bytes:
                raise ForeignFault(f"it unpacks to {total:,} bytes; there is room for {most_bytes:,}")
            for each in members:  # a member never gives more bytes than it declares
                archive.extract(each, into)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeError) as error:
        raise ForeignFault(escaped(str(error))) from error
