"""Where the links of a page lead: relative within the site, and http or https everywhere else."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

_UNSEEN = re.compile(r"[\x00-\x20\x7f-\xa0\u2028\u2029\\]")


def web_url(url: object) -> str:
    """Return a URL that a page may link to, or nothing: http and https, with a host, with nothing hidden."""
    if not isinstance(url, str) or _UNSEEN.search(url):
        return ""
    try:
        parts = urlsplit(url)
        named = bool(parts.hostname) and "@" not in parts.netloc
    except ValueError:
        return ""
    return url if named and parts.scheme in ("http", "https") else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """How a page of a site leads on."""

    base_url: str
    """Of the site, without a slash at its end."""
    depth: int
    """How many folders below the base URL the page lies."""

    @property
    def root(self) -> str:
        """The base URL as seen from the page. Never empty: a path ``javascript:…`` must stay a path."""
        return "../" * self.depth or "./"

    def of(self, url: object) -> str:
        """Return a URL as the page writes it: relative below the base URL; nothing if it is no web URL."""
        own = f"{self.base_url}/"
        known = web_url(url)
        return self.root + known.removeprefix(own) if known.startswith(own) else known

    def to(self, path: str) -> str:
        """Return the link to a path below the base URL."""
        return self.root + path

    def whole(self, path: str) -> str:
        """Return the whole URL of a path below the base URL."""
        return f"{self.base_url}/{path}"
