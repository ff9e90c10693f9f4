"""Files that are written: complete or as they were before, and with one date. Standard library only."""

from __future__ import annotations

import os
import tempfile
from datetime import UTC, datetime
from pathlib import Path


def now() -> datetime:
    """The time of the machine with its zone; SOURCE_DATE_EPOCH [s since 1970] instead, where it is set, so
    that the same input gives the same file. Source: reproducible-builds.org, SOURCE_DATE_EPOCH."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    if fixed.isdigit():
        return datetime.fromtimestamp(int(fixed), tz=UTC)
    return datetime.now().astimezone()


def write_atomically(path: Path, content: str | bytes) -> None:
    """Write a file so that it is either complete or as it was before; text as UTF-8. Raises OSError."""
    path = path.resolve()
    raw = content.encode("utf-8") if isinstance(content, str) else content
    if path.exists() and not path.is_file():  # a device or a pipe: nothing to replace
        path.write_bytes(raw)
        return
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with open(descriptor, "wb") as stream:
            stream.write(raw)
        os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
