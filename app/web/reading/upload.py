"""Reads a form with one file (multipart/form-data, RFC 7578), as browsers send it; nothing of it is kept on disk."""

from email.parser import BytesParser
from email.policy import HTTP
from typing import NamedTuple

from starlette.requests import Request

from app.errors import Malformed, TooLarge
from app.web.reading.json_body import WrongMediaType, media_type_of

MULTIPART = "multipart/form-data"


class UploadedForm(NamedTuple):
    """The text fields of a form by name, and its file with the name that the browser gave it."""

    fields: dict[str, str]
    file: bytes
    filename: str


async def read_upload(request: Request, names: set[str], most: int) -> UploadedForm:
    """Read a form with at most one file and the text fields `names`, of at most `most` bytes in all.

    Raises WrongMediaType, TooLarge, and Malformed for an unknown or repeated field.
    """
    if media_type_of(request) != MULTIPART:
        raise WrongMediaType((MULTIPART,))
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most:
            raise TooLarge(f"This file may have at most {most:,} bytes. Give the table alone, in a file of its own.")
    head = b"Content-Type: " + request.headers["content-type"].encode("latin-1") + b"\r\n\r\n"
    message = BytesParser(policy=HTTP).parsebytes(head + bytes(body))
    fields: dict[str, str] = {}
    file, filename = b"", ""
    for part in message.iter_parts() if message.is_multipart() else ():
        name = part.get_param("name", header="content-disposition")
        content = part.get_payload(decode=True)
        if not isinstance(name, str) or not isinstance(content, bytes) or name in fields:
            raise Malformed("The form is not the one of this page. Open the page again.")
        if part.get_filename() is not None and not filename:
            file, filename = content, part.get_filename() or ""
        elif name in names:
            fields[name] = content.decode("utf-8", "replace").strip()
        else:
            raise Malformed("The form has an unknown field. Open the page again.")
    return UploadedForm(fields, file, filename)
