"""Copies a site to object storage, each file with its media type, caching and compression.

    pip install 'solander[s3]'
    python to_object_storage.py SITE BUCKET[/PREFIX]

Credentials and endpoint come from where the storage's own tools look for them: the environment or
``~/.aws``. Images go first, then what lists them, the front page last: a reader never finds an address that
leads to nothing. What the storage has and the site has no longer is told, and removed with --remove.
"""

from __future__ import annotations

import argparse
import gzip
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import groupby
from pathlib import Path

import s3fs

from pipeline.serve import caching, media_type
from pipeline.specs.http import is_text

ORDER = (("assets/", "iiif/", "access/", "metadata/"), ("items/",), ("collections/", "changes/"))
"""What is copied before other files."""


def files(site: Path) -> Iterator[str]:
    """Yield the path of every public file, links followed, names with a full stop in front left out."""
    for folder, folders, names in os.walk(site, followlinks=True):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        yield from (
            Path(folder, name).relative_to(site).as_posix() for name in names if not name.startswith(".")
        )


def rank(path: str) -> tuple[int, bool]:
    """Return when a file is copied: documents of a folder after its images."""
    group = next((number for number, tops in enumerate(ORDER) if path.startswith(tops)), len(ORDER))
    return group, path.endswith(".json")


def about(path: str) -> dict[str, str]:
    """Return what is to stand at the head of an answer: images may be kept for an hour, as elsewhere."""
    kind = media_type(path)
    kept = "public, max-age=3600" if kind.startswith("image/") else caching(path)
    packed = {"ContentEncoding": "gzip"} if is_text(kind) else {}
    return {"ContentType": kind, "CacheControl": kept, **packed}


def copy(storage: s3fs.S3FileSystem, site: Path, path: str, bucket: str) -> None:
    """Copy one file; texts are compressed, for object storage does not do that when it answers."""
    data, fields = (site / path).read_bytes(), about(path)
    if "ContentEncoding" in fields:
        data = gzip.compress(data, mtime=0)
    storage.pipe_file(f"{bucket}/{path}", data, **fields)


def main(site: Path, bucket: str, *, removes: bool) -> None:
    """Copy one group of files after another, each at sixteen at once; then look for what is too much."""
    storage = s3fs.S3FileSystem()
    wanted = sorted(files(site), key=rank)
    with ThreadPoolExecutor(16) as pool:
        for _, group in groupby(wanted, key=rank):
            list(pool.map(lambda path: copy(storage, site, path, bucket), group))  # raises what went wrong
    extra = sorted(set(storage.find(bucket)) - {f"{bucket}/{path}" for path in wanted})
    for each in extra:
        print("removed" if removes else "too much", each)
    if removes and extra:
        storage.rm(extra)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("site", type=Path, metavar="SITE")
    parser.add_argument("bucket", metavar="BUCKET[/PREFIX]")
    parser.add_argument("--remove", action="store_true", help="remove what the site has no longer")
    given = parser.parse_args()
    main(given.site, given.bucket.rstrip("/"), removes=given.remove)
