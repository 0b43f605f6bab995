"""The frames of a bundle that are drawn for inspection by eye (ISO 2859-1), and small pictures of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pipeline.containers import Container
from pipeline.delivery import Role, SamplingTerms
from pipeline.errors import MasterError
from pipeline.sampling import SamplingPlan
from pipeline.verdict import Sample
from pipeline.verify.roles import Picture

DEFAULT_AQL = 1.5
"""Nonconforming frames in a hundred, where no terms say otherwise (common practice, no source)."""
THUMBNAIL_PX = 480


def draw(
    pictures: Iterable[Picture], terms: SamplingTerms, session_of: Mapping[str, str] | None = None
) -> Sample | None:
    """Return the sample of a bundle's masters, or of its surrogates if it has none; None without frames.

    The lot is the bundle. `session_of` gives the session of a picture by its path.
    """
    lot = _lot(tuple(pictures))
    if not (terms.is_all or terms.aql):
        terms = SamplingTerms(aql=DEFAULT_AQL, seed=terms.seed)
    plan = terms.plan_for(len(lot))
    if plan is None:
        return None
    drawn = set(terms.choose(lot, session_of))
    return Sample(
        lot_size=len(lot),
        accept=plan.accept,
        reject=plan.reject,
        basis=_basis(terms, plan),
        seed=terms.seed,
        frames=tuple(path for path in lot if path in drawn),
    )


def _lot(pictures: tuple[Picture, ...]) -> tuple[str, ...]:
    """One picture of each frame."""
    for role in (Role.MASTERS, Role.ACCESS):
        if frames := {each.stem: each.path for each in reversed(pictures) if each.role is role}:
            return tuple(reversed(frames.values()))
    return ()


def _basis(terms: SamplingTerms, plan: SamplingPlan) -> str:
    if terms.aql is None:
        return "every frame"
    return (
        f"ISO 2859-1, level {terms.level}, AQL {terms.aql:g}, {terms.severity} inspection, "
        f"code letter {plan.code_letter}"
    )


def thumbnails(container: Container, paths: Iterable[str]) -> dict[str, bytes]:
    """Return a small JPEG of each image that can be decoded, by its path."""
    from pipeline import images
    from pipeline.headers import read_header_of

    made: dict[str, bytes] = {}
    for path in paths:
        try:
            with container.open(path) as file:
                header = read_header_of(file, path)
                file.seek(0)
                made[path] = images.thumbnail(file, header, name=path, side_px=THUMBNAIL_PX)
        except (OSError, MasterError):
            continue  # another rule has told of it
    return made
