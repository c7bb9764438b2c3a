"""How pages and files go out: below a path, packed, static files under names with a hash."""

import hashlib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import BaseFinder, get_finders
from django.contrib.staticfiles.storage import StaticFilesStorage
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

HASH_LENGTH = 12
PACKED_ALREADY = ("application/pdf", "application/zip", "image/png", "image/jpeg", "font/")


class BelowPrefix:
    """Answers below `NECKRING_PATH_PREFIX`, whether or not a proxy takes it off. Middleware.

    Cookies stay below it too: another program may answer beside this one under the same name.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        prefix = settings.PATH_PREFIX
        if prefix and f"{request.path_info}/".startswith(f"{prefix}/"):
            request.path_info = request.path_info.removeprefix(prefix) or "/"
            request.path = prefix + request.path_info
        answer = self.get_response(request)
        for cookie in answer.cookies.values():
            cookie["path"] = f"{prefix}/"
        return answer


class Packed(GZipMiddleware):
    """Packs what gets smaller by it. Middleware.

    A page that holds a secret beside what somebody else may have put into it could tell the
    secret by its packed length. The one secret of our pages is the form's token, which Django
    masks anew in each page, and it adds a random length to whatever it packs.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> Any:
        if response.headers.get("Content-Type", "").startswith(PACKED_ALREADY):
            return response
        return super().process_response(request, response)


@cache
def hashed_names() -> dict[str, tuple[str, Path]]:
    """Return each static file's name with a hash of its content in it, and its path.

    Worked out once, when the program starts, so that nothing has to be collected first.
    """
    found: dict[str, tuple[str, Path]] = {}
    for finder in get_finders():
        if isinstance(finder, HashedFiles):
            continue
        for name, storage in finder.list(ignore_patterns=[]):
            path = Path(storage.path(name))
            digest = hashlib.sha256(path.read_bytes()).hexdigest()[:HASH_LENGTH]
            pure = PurePosixPath(name)
            found.setdefault(name, (f"{pure.with_suffix('')}.{digest}{pure.suffix}", path))
    return found


class HashedNames(StaticFilesStorage):
    """Gives pages the addresses with a hash, which browsers may keep for ever."""

    def url(self, name: str | None) -> str:
        known = hashed_names().get(name or "")
        return super().url(known[0] if known and not settings.DEBUG else name)


class HashedFiles(BaseFinder):
    """Finds static files by their names with a hash, for whoever serves them."""

    prefix = ""

    def check(self, **_: Any) -> list[Any]:
        """Return no complaint: there is nothing to set."""
        return []

    def path(self, name: str) -> str:
        """Return where the file with this hashed name lies."""
        return str(_by_hashed_name()[name])

    def find(self, path: str, find_all: bool = False, **_: Any) -> Any:
        """Return the path of one file, or a list where all that match are asked for."""
        found = _by_hashed_name().get(path)
        matches = [str(found)] if found else []
        return matches if find_all else matches[:1] and matches[0]

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, Any]]:
        """Return all names with a hash, each with who knows its path."""
        return ((name, self) for name in _by_hashed_name())


def _by_hashed_name() -> dict[str, Path]:
    return dict(hashed_names().values())
