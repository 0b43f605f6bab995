"""Makes bags, good ones and ones with a single fault, by other code than the product's, and judges them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.findings import Level
from pipeline.verdict import Outcome, Verdict
from pipeline.verify import Options, verify

PAYLOAD = {
    "data/page-1.txt": b"one\n",
    "data/leaves/page-2.txt": b"two\n",
    "data/leaves/page-3.txt": b"three\n",
}
INFO = "Source-Organization: Aldermoor Library\nBagging-Date: 2026-03-09\n"


def digest(algorithm: str, data: bytes) -> str:
    """A digest in hexadecimal, by the standard library."""
    return hashlib.new({"sha3256": "sha3_256"}.get(algorithm, algorithm), data).hexdigest()


def manifest(algorithm: str, files: Mapping[str, bytes]) -> str:
    """A manifest of files, names as they are."""
    return "".join(f"{digest(algorithm, data)}  {path}\n" for path, data in files.items())


@dataclass(kw_only=True)
class Draft:
    """A bag before it is written. Whatever is changed here, its tag manifests fit it."""

    version: str = "1.0"
    encoding: str = "UTF-8"
    algorithms: list[str] = field(default_factory=lambda: ["sha512"])
    payload: dict[str, bytes] = field(default_factory=lambda: dict(PAYLOAD))
    info: str = INFO
    has_tag_manifests: bool = True
    unlisted_tags: list[str] = field(default_factory=list)
    """Tag files that tag manifests leave out."""
    tag_lines: str = ""
    """What stands in the tag manifest beside what must."""
    tags: dict[str, str | bytes | None] = field(default_factory=dict)
    """Tag files beside, or instead of, those that are made; None makes none."""

    def manifest(self, algorithm: str) -> str:
        """The payload manifest as it will be, if nothing else is put in its place."""
        listed = {path: data for path, data in self.payload.items() if path.startswith("data/")}
        return manifest(algorithm, listed)

    def lines(self, change: Callable[[str], str], algorithm: str = "sha512") -> None:
        """Put a changed payload manifest in the place of the right one."""
        self.tags[f"manifest-{algorithm}.txt"] = change(self.manifest(algorithm))

    def tag_files(self) -> dict[str, bytes]:
        """All tag files but tag manifests, as bytes."""
        declaration = f"BagIt-Version: {self.version}\nTag-File-Character-Encoding: {self.encoding}\n"
        made: dict[str, str | bytes | None] = {"bagit.txt": declaration.encode()}
        made |= {f"manifest-{each}.txt": self.manifest(each) for each in self.algorithms}
        made |= {"bag-info.txt": self.info or None} | self.tags
        return {
            name: text if isinstance(text, bytes) else text.encode(self.encoding)
            for name, text in made.items()
            if text is not None
        }

    def write(self, folder: Path) -> Path:
        """Write the bag."""
        tags = {name: data for name, data in self.tag_files().items() if not name.startswith("tagmanifest")}
        for path, data in {**self.payload, **self.tag_files()}.items():
            file = folder / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(data)
        (folder / "data").mkdir(parents=True, exist_ok=True)
        if self.has_tag_manifests:
            listed = {name: data for name, data in tags.items() if name not in self.unlisted_tags}
            for each in self.algorithms:
                file = folder / f"tagmanifest-{each}.txt"
                if not file.exists():
                    file.write_bytes((manifest(each, listed) + self.tag_lines).encode(self.encoding))
        return folder


def bag(folder: Path, **changes: object) -> Path:
    """Write a good bag."""
    return Draft(**changes).write(folder)  # type: ignore[arg-type]


def renew_tag_manifests(folder: Path) -> None:
    """Make the tag manifests fit again after a tag file was changed."""
    for file in folder.glob("tagmanifest-*.txt"):
        algorithm = file.stem.partition("-")[2]
        listed = [line.split(maxsplit=1)[1] for line in file.read_text().splitlines()]
        file.write_text(manifest(algorithm, {name: (folder / name).read_bytes() for name in listed}))


def judge(path: Path, *, is_quick: bool = False) -> Verdict:
    """The verdict on one bundle, by one thread."""
    return verify(path, Options(is_quick=is_quick, threads=1)).verdict


def codes(verdict: Verdict, *, families: str = "ABI") -> list[str]:
    """Codes of all findings but notes, one for each finding, sorted; only of some families of rules."""
    found = (each for each in verdict.report.findings if each.level is not Level.NOTE)
    return sorted(each.code for each in found if each.code[0] in families)


def all_codes(verdict: Verdict) -> set[str]:
    """Codes of all findings, notes as well."""
    return set(verdict.report.codes)


def places(verdict: Verdict, code: str) -> list[str]:
    """Where one rule found something."""
    return [each.place for each in verdict.report.findings if each.code == code]


def is_rejected(verdict: Verdict) -> bool:
    """True if the bundle was rejected."""
    return verdict.outcome is Outcome.REJECTED


def files_below(folder: Path) -> Iterable[Path]:
    """All regular files of a folder, sorted."""
    return sorted(each for each in folder.rglob("*") if each.is_file())
