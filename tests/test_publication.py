"""Verification before publication, and what became of each bundle."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest

from pipeline import publication
from pipeline.containers import Container
from pipeline.errors import ExitStatus, InputError
from pipeline.model import LanguageMap
from pipeline.publish import Outcome, Publisher, opened
from pipeline.verdict import Outcome as Verified
from pipeline.verify import Options, verify
from tests import make_item
from tests.verify import deliver

URL = "https://books.example.org/library"
NOW = dt.datetime(2026, 3, 10, 9, tzinfo=dt.UTC)
OPTIONS = Options(threads=2)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> make_item.World:
    """An item with its bundles, made once."""
    return deliver.build(tmp_path_factory.mktemp("built"))


@pytest.fixture
def bundle(built: make_item.World, tmp_path: Path) -> Path:
    return deliver.copied(built, tmp_path).publication


def publish(
    site: Path, bundle: Path, *, has_pdf: bool | None = None, is_dry: bool = False
) -> publication.Publication:
    with opened(site, URL, LanguageMap(), lambda: NOW) as publisher:
        return publication.publish(publisher, bundle, OPTIONS, has_pdf=has_pdf, is_dry=is_dry)


def test_a_good_bundle_is_verified_and_published(bundle: Path, tmp_path: Path) -> None:
    found = publish(tmp_path / "site", bundle)
    assert found.verdict is not None
    assert (found.item, found.exit_status) == ("msb-014", ExitStatus.DONE)
    assert found.done is not None
    assert (tmp_path / "site/items/msb-014/index.html").is_file()


def test_what_a_site_serves_is_accepted_when_it_is_verified(bundle: Path, tmp_path: Path) -> None:
    """The rewritten documents are held against all rules for documents, which know nothing of publishing."""
    publish(tmp_path / "site", bundle)
    folder = tmp_path / "site/iiif/msb-014"
    documents = [folder / "manifest.json", *folder.glob("*/info.json")]
    assert len(documents) > 2
    for path in documents:
        assert verify(path, OPTIONS).verdict.outcome is Verified.ACCEPTED


def test_every_address_of_the_manifest_is_a_file_of_the_site(bundle: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    publish(site, bundle, has_pdf=True)
    manifest = json.loads((site / "iiif/msb-014/manifest.json").read_bytes())
    own = [url for url in _texts(manifest) if url.startswith(f"{URL}/")]
    abstract = ("/canvas/", "/range/")
    files = [url.removeprefix(f"{URL}/") for url in own if not any(each in url for each in abstract)]
    assert len(files) > 10
    for path in files:
        place = site / path
        assert place.is_file() or (place / "info.json").is_file() or (place / "index.html").is_file(), path


def _texts(value: object) -> list[str]:
    match value:
        case str():
            return [value]
        case dict():
            return [text for each in value.values() for text in _texts(each)]
        case list():
            return [text for each in value for text in _texts(each)]
    return []


def test_a_pdf_is_made_on_request_beside_the_page_and_stays_until_it_is_refused(
    bundle: Path, tmp_path: Path
) -> None:
    def outcome(has_pdf: bool | None) -> Outcome:
        plan = publish(tmp_path / "site", bundle, has_pdf=has_pdf).plan
        assert plan is not None
        return plan.outcome

    outcome(True)
    assert (tmp_path / "site/items/msb-014/msb-014.pdf").read_bytes().startswith(b"%PDF-")
    assert outcome(None) is Outcome.UNCHANGED
    assert outcome(False) is Outcome.REPLACED
    assert not (tmp_path / "site/items/msb-014/msb-014.pdf").exists()
    assert outcome(None) is Outcome.UNCHANGED


def test_a_rejected_bundle_changes_nothing(bundle: Path, tmp_path: Path) -> None:
    (picture,) = list((bundle / "data/access/msb-014").iterdir())[:1]
    data = bytearray(picture.read_bytes())
    data[len(data) // 2] ^= 1
    picture.write_bytes(data)
    found = publish(tmp_path / "site", bundle)
    assert (found.plan, found.done, found.exit_status) == (None, None, ExitStatus.FIXITY)
    assert not (tmp_path / "site/items").exists()


def test_a_bundle_that_is_online_is_not_read_again(
    bundle: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(tmp_path / "site", bundle)
    monkeypatch.setattr(publication, "verify", None)
    found = publish(tmp_path / "site", bundle)
    assert found.verdict is None
    assert found.done is not None
    assert found.done.outcome is Outcome.UNCHANGED


def test_a_dry_run_verifies_and_publishes_nothing(bundle: Path, tmp_path: Path) -> None:
    found = publish(tmp_path / "site", bundle, is_dry=True)
    assert found.verdict is not None
    assert found.done is None
    assert not (tmp_path / "site/items").exists()


def test_what_is_no_publication_bundle_is_refused_before_it_is_verified(
    built: make_item.World, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(publication, "verify", None)
    with pytest.raises(InputError, match="is a preservation bundle"):
        publish(tmp_path / "site", deliver.copied(built, tmp_path).preservation)


def test_nothing_is_planned_of_a_manifest_before_it_was_verified(
    bundle: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = bundle / "data/iiif/msb-014/manifest.json"
    path.write_text(json.dumps(json.loads(path.read_bytes()) | {"items": 7}))
    deliver.seal(bundle)

    def never(self: Publisher, container: Container, *, has_pdf: bool | None = None) -> None:
        raise AssertionError

    monkeypatch.setattr(Publisher, "plan", never)
    assert publish(tmp_path / "site", bundle).exit_status is ExitStatus.WANTING
