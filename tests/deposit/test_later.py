"""Events later than a bag: chosen by object, added once, the bag untouched."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import premisdoc, xmldoc
from pipeline.deposit import add_events, open_root, read_events, retrieve
from pipeline.errors import FixityError, InputError
from pipeline.model import Agent, AgentKind, Event
from pipeline.ocfl.layouts import layout_of
from pipeline.specs import ocfl, premis
from pipeline.stores import FolderStore, Store
from tests.deposit.world import (
    NOW,
    OBJECT,
    SECOND,
    contents,
    errors,
    make_bag,
    nothing_is_left,
    outside_errors,
    put,
    request,
)

OTHER = "urn:example:other"
LATER = NOW + dt.timedelta(days=365)
PLACE = layout_of(ocfl.HASHED).path(OBJECT)


def checked(number: int, *objects: str, version: str = "0.1.0") -> bytes:
    """A document of one fixity check."""
    event = Event(
        identifier=f"0d1c7f4e-0000-5000-8000-{number:012}",
        kind=premis.FIXITY_CHECK,
        when="2027-03-10T01:00:00+00:00",
        detail="all bytes read",
        outcome=premis.PASSED,
        agents=(("software/solander", "executing program"),),
        objects=tuple((name, "source") for name in objects),
    )
    agent = Agent(identifier="software/solander", kind=AgentKind.SOFTWARE, name="solander", version=version)
    items = [
        premisdoc.object_record(
            premis.INTELLECTUAL_ENTITY, premisdoc.identifier("objectIdentifier", premis.LOCAL, name)
        )
        for name in objects
    ]
    return premisdoc.document(items, [event], [agent])


@pytest.fixture(params=["folder", "object storage"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    if request.param == "folder":
        return FolderStore(tmp_path / "store")
    empty: Callable[[], Store] = request.getfixturevalue("object_store")
    return empty()


def test_events_stand_beside_the_bag_in_a_version_of_their_own(store: Store, tmp_path: Path) -> None:
    bag = make_bag(tmp_path / "bag")
    put(store, bag)
    events = read_events({"a": checked(1, OBJECT, OTHER), "b": checked(2, OTHER), "c": checked(3, OBJECT)})
    assert events.objects == (OBJECT, OTHER)
    done = add_events(events, open_root(store), request(now=LATER))
    assert (done.version, done.is_new, done.events, done.files) == ("v2", True, 2, 7)
    new = {each.path.partition("/v2/")[2] for each in store.walk(f"{PLACE}/v2/content")}
    assert new == {"content/events/v2.xml"}
    root = xmldoc.parse(store.read(f"{PLACE}/v2/content/events/v2.xml", limit_bytes=1 << 20))
    assert xmldoc.schema_faults(root, xmldoc.our_schema()) == ()
    kinds = [str(each.tag).rpartition("}")[2] for each in root]
    assert kinds == ["object", "event", "event", "agent"]
    retrieve(open_root(store), OBJECT, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(bag)
    again = add_events(events, open_root(store), request(now=LATER))
    assert (again.version, again.is_new, again.events) == ("v2", False, 0)
    assert errors(store) == []
    assert nothing_is_left(store)


def test_events_stay_when_a_later_bag_follows(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "bag"))
    events = read_events({"a": checked(1, OBJECT)})
    add_events(events, open_root(store), request(now=LATER))
    assert put(store, make_bag(tmp_path / "later", SECOND), request(now=LATER)).version == "v3"
    assert not add_events(events, open_root(store), request(now=LATER)).is_new
    assert errors(store) == outside_errors(store) == []


def test_nothing_is_added_to_a_damaged_object(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "bag"))
    (store.folder / PLACE / "v1" / "content" / "bag" / "bagit.txt").unlink()
    with pytest.raises(FixityError, match="E092"):
        add_events(read_events({"a": checked(1, OBJECT)}), open_root(store), request())


def test_documents_that_do_not_agree_on_an_agent_are_refused() -> None:
    with pytest.raises(InputError, match=r'b: tells of the agent "software/solander" otherwise'):
        read_events({"a": checked(1, OBJECT), "b": checked(2, OBJECT, version="0.2.0")})


def test_a_document_that_is_not_valid_is_refused() -> None:
    with pytest.raises(InputError, match="is not a valid PREMIS document"):
        read_events({"a": checked(1, OBJECT).replace(b"eventDateTime", b"eventDate")})
