"""Forms of dates that records claim to follow: W3CDTF and EDTF.

Source: W3C note "Date and Time Formats" (1997); Extended Date/Time Format, levels 0 to 2, as published in
February 2019 (ISO 8601-2:2019, annex A).
"""

from __future__ import annotations

import datetime as dt
import re

_LONGEST = 200
"""Longer texts are no dates; a bound keeps the search short."""

# ------------------------------------------------------------------------------------------- W3CDTF

_W3CDTF = re.compile(
    r"(\d{4})(?:-(\d\d)(?:-(\d\d)(?:T(\d\d):(\d\d)(?::(\d\d)(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d))?)?)?", re.ASCII
)


def is_w3cdtf(text: str) -> bool:
    """True for a year, month, day, or a time with its zone, that the calendar has."""
    match = _W3CDTF.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        return False
    year, month, day, hour, minute, second = (int(each or 0) for each in match.groups())
    return _is_day(year, month if match[2] else 1, day if match[3] else 1) and _is_time(hour, minute, second)


def _is_day(year: int, month: int, day: int) -> bool:
    try:
        dt.date(year % 400 + 2000, month, day)  # the calendar repeats; years 0 and before have it too
    except ValueError:
        return False
    return True


def _is_time(hour: int, minute: int, second: int) -> bool:
    return hour < 24 and minute < 60 and second < 60


# --------------------------------------------------------------------------------------------- EDTF

_TIME = re.compile(r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)(?:Z|[+-](\d\d)(?::?(\d\d))?)?", re.ASCII)
_LONG_YEAR = re.compile(r"Y-?\d{5,}(?:S\d+)?|Y-?\d+E\d+(?:S\d+)?|-?\d{4}S\d+", re.ASCII)
_MASKED = r"[\dX]"
_DATE = re.compile(
    rf"(?P<yq>[?~%]?)(?P<y>-?{_MASKED}{{4}})(?P<yr>[?~%]?)"
    rf"(?:-(?P<mq>[?~%]?)(?P<m>{_MASKED}{{2}})(?P<mr>[?~%]?)"
    rf"(?:-(?P<dq>[?~%]?)(?P<d>{_MASKED}{{2}})(?P<dr>[?~%]?))?)?",
    re.ASCII,
)
_SEASONS = range(21, 42)
_SET = re.compile(r"[\[{](?P<members>[^\[\]{}]+)[\]}]")


def is_edtf(text: str) -> bool:
    """True for a date, time, season, interval or set that levels 0 to 2 allow and the calendar has."""
    if not text or len(text) > _LONGEST:
        return False
    if (text[0], text[-1]) in (("[", "]"), ("{", "}")):
        return _is_set(text)
    start, slash, end = text.partition("/")
    if not slash:
        return _is_single(text)
    ends = [each for each in (start, end) if each not in ("", "..")]
    return bool(ends) and all(_is_single(each) and "T" not in each for each in ends)


def _is_set(text: str) -> bool:
    match = _SET.fullmatch(text)
    return match is not None and all(_is_member(each.strip()) for each in match["members"].split(","))


def _is_member(text: str) -> bool:
    start, dots, end = text.partition("..")
    if not dots:
        return _is_single(text)
    return bool(start or end) and all(_is_single(each) for each in (start, end) if each)


def _is_single(text: str) -> bool:
    if _LONG_YEAR.fullmatch(text):
        return True
    if match := _TIME.fullmatch(text):
        year, month, day, hour, minute, second, zone, zone_minutes = (
            int(each or 0) for each in match.groups()
        )
        return (
            _is_day(year, month, day) and _is_time(hour, minute, second) and zone <= 14 and zone_minutes < 60
        )
    match = _DATE.fullmatch(text)
    return match is not None and _is_masked_day(match["y"], match["m"], match["d"])


def _is_masked_day(year: str, month: str | None, day: str | None) -> bool:
    """True if some day of the calendar fits, X standing for any digit."""
    if month is None:
        return True
    if day is None and month.isdigit() and int(month) in _SEASONS:
        return True
    if day is not None and "X" not in year + month + day:
        return _is_day(int(year), int(month), int(day))
    months = [each for each in range(1, 13) if _fits(f"{each:02d}", month)]
    if day is None:
        return bool(months)
    leap, common = 2000, 2001
    years = (leap, common) if "X" in year else (int(year) % 400 + 2000,)
    days = [each for each in range(1, 32) if _fits(f"{each:02d}", day)]
    return any(_is_day(y, m, d) for y in years for m in months for d in days)


def _fits(digits: str, mask: str) -> bool:
    return all(of_mask in ("X", digit) for digit, of_mask in zip(digits, mask, strict=True))


# ---------------------------------------------------------------------------------- order of two dates

_YEARS = re.compile(r"[?~%]?(-?\d{4})[?~%]?(?:-.*)?|Y(-?\d{5,6})", re.ASCII)


def year_of(text: str) -> int | None:
    """Return the year with which a date begins, or None if it is masked, open, or no date."""
    match = _YEARS.fullmatch(text) if len(text) <= _LONGEST else None
    return int(match[1] or match[2]) if match else None
