"""What an answer lets a browser do with it: as little as its page needs. Made once; the guard puts it on every answer."""

import re
from base64 import b64encode
from functools import lru_cache
from hashlib import sha256

from .paper.page import STYLE_HASH

Headers = tuple[tuple[bytes, bytes], ...]

_SHUT = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
_API = "default-src 'none'; frame-ancestors 'none'"
_PAGE = f"default-src 'none'; style-src 'self'; img-src 'self'; {_SHUT}"
# Pages of our own with a script. Their scripts write text and elements alone, so that no markup may be made at all.
_SCRIPTED = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self'; "
    f"require-trusted-types-for 'script'; trusted-types 'none'; {_SHUT}"
)
# The interactive documentation starts itself with a script inside its page, let in by its hash; its style sheet holds
# its pictures.
_DOCS = (
    "default-src 'none'; script-src 'self'{hashes}; connect-src 'self'; style-src 'self'; img-src 'self' data:; "
    f"{_SHUT}"
)
# A printable page has its style and its drawings inside it, and nothing else.
_PAPER = f"default-src 'none'; style-src '{STYLE_HASH}'; img-src data:; {_SHUT}"
_INLINE = re.compile(rb"<script>(.*?)</script>", re.DOTALL)
WITH_SCRIPT = frozenset({"/sign-in", "/seat", "/classroom", "/workshop"})
WITH_INLINE_SCRIPT = frozenset({"/docs", "/docs/oauth2-redirect"})
"""Pages whose policy hangs on their text."""

_ALWAYS: Headers = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=()"),
)  # fmt: skip
# Over TLS alone: a browser that once came that way never again sends its cookie in the clear.
_SECURE: Headers = ((b"strict-transport-security", b"max-age=31536000"),)
_NO_STORE: Headers = ((b"cache-control", b"no-store"),)


def _made(policy: str, secure: bool, more: Headers = ()) -> Headers:  # noqa: FBT001
    own = ((b"content-security-policy", policy.encode()),)
    return (*_ALWAYS, *own, *more, *(_SECURE if secure else ()))


_API_HEADERS = tuple(_made(_API, secure, _NO_STORE) for secure in (False, True))
_PAPER_HEADERS = tuple(_made(_PAPER, secure, _NO_STORE) for secure in (False, True))
_PAGE_HEADERS = tuple(_made(_PAGE, secure) for secure in (False, True))
_SCRIPTED_HEADERS = tuple(_made(_SCRIPTED, secure) for secure in (False, True))


def headers(path: str, *, secure: bool, page: bool = False) -> Headers:
    """The headers of every answer at a path; `secure`: asked over TLS; `page`: the answer is HTML."""
    if path.startswith("/v1/") or path == "/v1":
        return (_PAPER_HEADERS if page else _API_HEADERS)[secure]
    return (_SCRIPTED_HEADERS if path in WITH_SCRIPT else _PAGE_HEADERS)[secure]


@lru_cache(maxsize=8)
def headers_of(content: bytes, *, secure: bool) -> Headers:
    """The headers of a page of the interactive documentation, with the hash of each script that stands inside it."""
    hashes = "".join(
        f" 'sha256-{b64encode(sha256(script).digest()).decode()}'" for script in _INLINE.findall(content)
    )
    return _made(_DOCS.format(hashes=hashes), secure)
