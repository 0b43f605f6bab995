"""One request to object storage: bounded in time, repeated when that may help, its failures made readable.

Credentials come from the environment or the standard files of the protocol's tools, and go nowhere else.

Source: Amazon S3 API reference, version 2006-03-01, error responses.
"""

from __future__ import annotations

import asyncio
import functools
import threading
import time
from dataclasses import dataclass
from typing import Any

from pipeline.errors import AlreadyThere, NotInStore, NotSupported, StoreError, ToolError
from pipeline.files import visible
from pipeline.stores.redacting import redacted

Answer = dict[str, Any]
"""What a request is answered with; the body of a file as bytes under ``Body``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long a store may take, and how often it is asked again."""

    attempts: int = 6
    first_pause_s: float = 0.5
    """Doubled after every attempt."""
    connecting_s: float = 10
    silence_s: float = 60
    """Without a byte."""
    request_s: float = 600
    """For one request with its answer."""


class Connection:
    """Asks one bucket. Safe to use from several threads: requests run in the library's own."""

    def __init__(self, bucket: str, patience: Patience) -> None:
        self._bucket = bucket
        self._patience = patience
        self._lock = threading.Lock()
        self._session: Any = None
        self.knows_conditions: bool | None = None
        """Whether the server knows conditional writes; None until it has shown it."""

    def ask(self, act: str, path: str, operation: str, **arguments: Any) -> Answer:
        """Do one operation, again when that may help; `act` and `path` are for messages.

        Raises NotInStore, AlreadyThere, NotSupported, StoreError.
        """
        session = self._opened()
        for attempt in range(1, self._patience.attempts + 1):
            try:
                return self._once(session, operation, arguments)
            except _failures() as error:
                if attempt == self._patience.attempts or not _may_pass(error):
                    raise self._told(act, path, error, attempt) from error
                time.sleep(self._patience.first_pause_s * 2 ** (attempt - 1))
        raise AssertionError("there is at least one attempt")

    def _once(self, session: Any, operation: str, arguments: Answer) -> Answer:
        from fsspec.asyn import sync

        answer: Answer = sync(session.loop, self._asked, session, operation, arguments)
        return answer

    async def _asked(self, session: Any, operation: str, arguments: Answer) -> Answer:
        async with asyncio.timeout(self._patience.request_s):
            await session.set_session()
            client = await session.get_s3(self._bucket)
            answer: Answer = await getattr(client, operation)(Bucket=self._bucket, **arguments)
            if operation == "get_object":
                async with answer["Body"] as body:
                    answer["Body"] = await body.read()
                if len(answer["Body"]) != answer["ContentLength"]:
                    raise TimeoutError(
                        f"only {len(answer['Body']):,} of {answer['ContentLength']:,} bytes came"
                    )
            return answer

    def _opened(self) -> Any:
        """Return the library's session, the same each time. Raises ToolError if it is not installed."""
        with self._lock:
            if self._session is None:
                self._session = _session(self._patience)
            return self._session

    def _told(self, act: str, path: str, error: Exception, attempts: int) -> StoreError:
        where = f"s3://{self._bucket}/{path}".rstrip("/")
        code, said = _code(error), visible(redacted(str(error) or type(error).__name__))
        if code in _ABSENT:
            return NotInStore(f"{where}: is not there; give a path that the store has")
        if code == "PreconditionFailed":
            return AlreadyThere(f"{where}: is there already, and must not be replaced")
        tried = f" after {attempts} attempts" if attempts > 1 else ""
        message = f"{where}: cannot {act} it{tried} ({said}); {_ADVICE.get(code, _LATER)}"
        return NotSupported(message) if code == "NotImplemented" else StoreError(message)


def _session(patience: Patience) -> Any:
    try:
        import s3fs
    except ImportError as error:
        raise ToolError(
            "what reaches object storage is not installed; install it with: pip install 'solander[s3]'"
        ) from error
    return s3fs.S3FileSystem(
        skip_instance_cache=True,
        use_listings_cache=False,
        config_kwargs={
            "connect_timeout": patience.connecting_s,
            "read_timeout": patience.silence_s,
            "retries": {"total_max_attempts": 1},  # ours know of bodies that end too early as well
            "request_checksum_calculation": "when_required",  # many servers know Content-MD5 alone
            "response_checksum_validation": "when_required",
        },
    )


# ------------------------------------------------------------------------------------------- failures


@functools.cache
def _failures() -> tuple[type[Exception], ...]:
    """What the libraries raise when a request fails."""
    import aiohttp
    from botocore.exceptions import BotoCoreError, ClientError

    return (BotoCoreError, ClientError, aiohttp.ClientError, TimeoutError, OSError)


def _code(error: Exception) -> str:
    """What the server calls a failure, or the library; for a bare status its number."""
    response = getattr(error, "response", None)
    if isinstance(response, dict):
        return str(response.get("Error", {}).get("Code", ""))
    return type(error).__name__


def _status(error: Exception) -> int:
    """The HTTP status; 0 if there was no answer."""
    response = getattr(error, "response", None)
    if isinstance(response, dict):
        return int(response.get("ResponseMetadata", {}).get("HTTPStatusCode", 0))
    return 0


def _may_pass(error: Exception) -> bool:
    """True for what may go well the next time: an overloaded server, a broken connection, a damaged body."""
    from botocore.exceptions import BotoCoreError, HTTPClientError

    status = _status(error)
    if status:
        return (status >= 500 and status != 501) or status == 429 or _code(error) in _PASSING
    return isinstance(error, HTTPClientError) or not isinstance(error, BotoCoreError)


_PASSING = {
    "BadDigest",
    "ConditionalRequestConflict",
    "IncompleteBody",
    "OperationAborted",
    "RequestTimeout",
    "SlowDown",
    "XAmzContentSHA256Mismatch",
}
_ABSENT = {"404", "NoSuchKey", "NotFound"}
_CREDENTIALS = (
    "look at the credentials: AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or a profile in ~/.aws/credentials"
)
_LATER = "look at the store and the network, then try again"
_ADVICE = {
    "NoCredentialsError": _CREDENTIALS,
    "PartialCredentialsError": _CREDENTIALS,
    "ProfileNotFound": _CREDENTIALS,
    "InvalidAccessKeyId": _CREDENTIALS,
    "SignatureDoesNotMatch": _CREDENTIALS,
    "ExpiredToken": _CREDENTIALS,
    "InvalidToken": _CREDENTIALS,
    "AccessDenied": "these credentials may not do that: ask who keeps the store",
    "403": "these credentials may not do that, or are wrong: ask who keeps the store",
    "RequestTimeTooSkewed": "this machine's clock is wrong: set it",
    "NoSuchBucket": "there is no such bucket: create it, or correct the address",
    "InvalidBucketName": "no bucket can be named so: correct the address",
    "ParamValidationError": "no bucket can be named so: correct the address",
    "EndpointConnectionError": "nothing answers there: look at AWS_ENDPOINT_URL and the network",
    "NotImplemented": "this store does not know that request",
    "QuotaExceeded": "raise the quota, or make room",
}
