"""Options of the test run, and what holds for all tests."""

from __future__ import annotations

import functools
import itertools
import os
from collections.abc import Callable, Iterator

import pytest
from botocore.loaders import create_loader
from hypothesis import settings

from pipeline.stores import ObjectStore
from tests import object_storage

# a process on each core runs tests: threads for products of matrices would only wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--large", action="store_true", help="also run tests that take gigabytes or minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--large"):
        skip = pytest.mark.skip(reason="needs --large")
        for item in items:
            if "large" in item.keywords:
                item.add_marker(skip)


@pytest.fixture(scope="session")
def s3_endpoint() -> Iterator[str]:
    """Object storage on the loopback address. What the library knows of its services is read once."""
    with pytest.MonkeyPatch.context() as patched, object_storage.serving() as endpoint:
        patched.setattr("botocore.session.create_loader", functools.cache(create_loader))
        yield endpoint


@pytest.fixture(scope="session")
def object_store(s3_endpoint: str) -> Callable[[], ObjectStore]:
    """Give empty stores in object storage, all over one connection."""
    with pytest.MonkeyPatch.context() as patched:
        for name, value in object_storage.environment(s3_endpoint).items():
            patched.setenv(name, value)
        object_storage.create_bucket(s3_endpoint, "shared")
        shared = ObjectStore("shared", "store")
        shared.put("a", b"")  # so that it has taken its credentials
    return lambda: shared.beside(f"-{next(_numbers)}")


_numbers = itertools.count(1)


@pytest.fixture
def bucket(s3_endpoint: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The name of an empty bucket, which the environment's credentials reach."""
    for name, value in object_storage.environment(s3_endpoint).items():
        monkeypatch.setenv(name, value)
    name = f"bucket-{next(_numbers)}"
    object_storage.create_bucket(s3_endpoint, name)
    return name
