"""A page as PDF, by the print of a browser that is installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from rodbench.errors import UsageError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
TIMEOUT_S = 60.0
_QUIET = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)
_BY_HAND = "Open the HTML page in any browser and print it: its paper size is in it."


def browser() -> str | None:
    """The browser that prints, if there is one."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def pdf(html: str) -> bytes:
    """The PDF of a page. Raises UsageError where no browser is found, or it fails."""
    found = browser()
    if found is None:
        raise UsageError(
            f"a PDF needs a browser that prints, and none is found: {' or '.join(BROWSERS)}",
            kept="no PDF was written",
            hint=_BY_HAND,
        )
    with tempfile.TemporaryDirectory(prefix="rodbench-", ignore_cleanup_errors=True) as folder:
        return _printed(found, html, Path(folder))


def _printed(found: str, html: str, folder: Path) -> bytes:
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(html, encoding="utf-8")
    words = [found, *_QUIET, *_for_root(), f"--user-data-dir={folder / 'profile'}"]
    words += [f"--print-to-pdf={target}", source.as_uri()]
    try:
        done = subprocess.run(
            words, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=TIMEOUT_S
        )
        said = done.stderr.strip().splitlines()[-1:]
    except subprocess.TimeoutExpired:
        said = [f"not done within {TIMEOUT_S:.0f} s"]
    if not target.exists():
        why = said[0] if said else "it says nothing"
        raise UsageError(f"{found} did not print: {why}", kept="no PDF was written", hint=_BY_HAND)
    return target.read_bytes()


def _for_root() -> list[str]:
    """The browser's own sandbox refuses root; the page is ours and asks for nothing outside."""
    return ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []
