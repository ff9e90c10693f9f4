"""Programs that some tests need and that are no Python packages; skipped with a clear word where absent.

In CI, where LAYERWRIGHT_NEEDS_PROGRAMS is set, a missing program is a failure.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def program(*names: str, package: str) -> str:
    """Path of the first of the programs that is there; ``package``: Debian's package that has it."""
    for name in names:
        found = shutil.which(name)
        if found:
            return found
    message = f"no {' or '.join(names)} on this machine: install Debian's package {package} to run this test"
    if os.environ.get("LAYERWRIGHT_NEEDS_PROGRAMS"):
        pytest.fail(message)
    pytest.skip(message)


def chromium() -> str:
    return program("chromium", "chromium-browser", package="chromium")


def converted(source: Path, to: str, folder: Path) -> Path:
    """Folder with what LibreOffice makes of ``source`` without a window. to: a format, as it takes them."""
    office = program("soffice", "libreoffice", package="libreoffice-calc-nogui")
    out = folder / "converted"
    # settings of its own, so that no other running copy takes the job
    settings = f"-env:UserInstallation={(folder / 'settings').resolve().as_uri()}"
    command = [office, settings, "--headless", "--convert-to", to, "--outdir", str(out), str(source)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180)
    assert out.is_dir() and any(out.iterdir()), f"LibreOffice made nothing: {done.stdout}{done.stderr}"
    return out
