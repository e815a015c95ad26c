"""The board's page: one file from three, and the policy that lets nothing else run in it."""

import base64
import hashlib
from dataclasses import dataclass
from pathlib import Path

import handsfree

FOLDER = Path(handsfree.__file__).parent / "board"
STYLE_PLACE, SCRIPT_PLACE = "/* style.css */", "/* script.js */"


@dataclass(frozen=True)
class Page:
    """What is sent for the page."""

    body: bytes  # UTF-8.
    policy: str  # Its Content-Security-Policy.


def board_page(folder: Path = FOLDER) -> Page:
    """The page with its style and script inside, and a policy that names both by their hash.

    Raises:
        OSError: a file is missing; the program has to be installed again.
    """
    html, style, script = (
        (folder / name).read_text(encoding="utf-8")
        for name in ("page.html", "style.css", "script.js")
    )
    body = html.replace(STYLE_PLACE, style).replace(SCRIPT_PLACE, script)
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src '{_hash_of(script)}'",
            f"style-src '{_hash_of(style)}'",
            "connect-src 'self'",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
            # No text may become markup, whatever a later change of the script does.
            "require-trusted-types-for 'script'",
            "trusted-types 'none'",
        )
    )
    return Page(body.encode(), policy)


def _hash_of(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"
