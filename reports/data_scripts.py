"""Data for the pages' own tools, each set in a script file that a page fetches when it is wanted.

A page opened from a folder may load scripts of that folder and nothing else, so data come as a script: one line
that puts a text under a name. The text is base64 of zlib-packed bytes: the length of a header (four bytes, the
lowest first), the header as JSON, and a body of plain bytes.
"""

from __future__ import annotations

import base64
import json
import struct
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from reports.naming import slug

FOLDER = "assets/data"


def data_name(tool: str, level: str) -> str:
    """Return the name of a tool's data for a level."""
    return f"{tool}-{slug(level)}"


def data_address(name: str) -> str:
    """Return the address of a set of data, from the top of the site."""
    return f"{FOLDER}/{name}.js"


def packed_script(name: str, header: Any, body: Iterable[bytes] = ()) -> bytes:
    """Return the script that hands a header and bytes to the page; the same input gives the same bytes."""
    head = json.dumps(header, ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode("utf-8", "replace")
    packed = zlib.compress(b"".join((struct.pack("<I", len(head)), head, *body)))
    text = base64.b64encode(packed).decode("ascii")
    return f'(self.plateworkData ??= {{}})["{name}"] = "{text}";\n'.encode("ascii")


def unpacked_script(script: bytes) -> tuple[Any, bytes]:
    """Return header and body of such a script."""
    packed = base64.b64decode(script.decode("ascii").split('"] = "')[1].rstrip('";\n'))
    plain = zlib.decompress(packed)
    (length,) = struct.unpack_from("<I", plain)
    return json.loads(plain[4 : 4 + length]), plain[4 + length :]


def write_data(folder: Path, name: str, content: bytes) -> int:
    """Write one such script under `folder`; return its size in bytes."""
    target = folder / data_address(name)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(content)
    return len(content)
