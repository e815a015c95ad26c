"""The text of a record: frozen dataclasses to one JSON object and back, exactly.

The format follows the types, so an event that is added later needs nothing here. A number is
never a float: a Fraction is its decimal or its quotient, a length of time is its seconds, a
moment is ISO 8601 in UTC.

Versions: 1, the first; 2, fields with a default were added, which records of version 1 lack.
"""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from fractions import Fraction
from functools import cache, lru_cache
from types import NoneType, UnionType
from typing import Any, TypeAlias, TypeVar, Union, get_args, get_origin, get_type_hints

FORMAT_VERSION = 2
VERSION_FIELD = "v"
KIND_FIELD = "kind"

# Longer than any reading or duration, and far below the length at which Python refuses to
# convert: a hostile file must give a refusal, not another exception.
LONGEST_NUMBER = 200
_FRACTION = re.compile(r"-?[0-9]+(?:\.[0-9]+|/[0-9]+)?", re.ASCII)
_DURATION = re.compile(r"PT(-?)([0-9]+)(?:\.([0-9]{1,6}))?S", re.ASCII)
_MICROSECONDS_PER_S = 1_000_000
_MICROSECOND = timedelta(microseconds=1)

Encoder: TypeAlias = Callable[[Any], object]
Decoder: TypeAlias = Callable[[Any], Any]
AnyRecord = TypeVar("AnyRecord")


class RecordUnreadable(ValueError):
    """A record is not in the format; the message says what is wrong with it."""


class RecordIsNewer(RecordUnreadable):
    """A record was written by a newer version of the program."""

    def __init__(self, version: int) -> None:
        """Keeps the version that was found."""
        super().__init__(f"format version {version}, this program knows {FORMAT_VERSION}")
        self.version = version


def text_of(record: object) -> str:
    """One line of JSON, without its end: ASCII, no spaces, the format version first.

    Args:
        record: a frozen dataclass of bool, int, str, Fraction, datetime, timedelta, Enum, and
            tuples, dataclasses and None of these.

    Raises:
        RecordUnreadable: a moment without a time zone, which could not be read back.
    """
    fields_of = {VERSION_FIELD: FORMAT_VERSION, **encoded(record)}
    return json.dumps(fields_of, allow_nan=False, separators=(",", ":"))


def record_from_text(text: str, kinds: tuple[type[AnyRecord], ...]) -> AnyRecord:
    """The record that ``text_of`` gave the text of.

    Args:
        text: one line of JSON.
        kinds: the dataclasses it may be.

    Raises:
        RecordIsNewer: the format version is a later one.
        RecordUnreadable: anything else that ``text_of`` does not write.
    """
    try:
        found = _JSON.decode(text)
    except RecordUnreadable:
        raise
    except (ValueError, RecursionError) as error:
        raise RecordUnreadable(f"no JSON: {error}") from error
    if not isinstance(found, dict):
        raise RecordUnreadable("no JSON object")
    version = found.pop(VERSION_FIELD, None)
    if type(version) is not int or version < 1:
        raise RecordUnreadable(f"no format version: {version!r}")
    if version > FORMAT_VERSION:
        raise RecordIsNewer(version)
    return decoded(found, kinds)


def encoded(record: object) -> dict[str, object]:
    """The record's kind and fields, ready for JSON."""
    cls: Any = type(record)
    result: dict[str, object] = {KIND_FIELD: cls.__name__}
    for name, encode, _ in _fields_of(cls):
        result[name] = encode(getattr(record, name))
    return result


def decoded(found: Mapping[str, object], kinds: tuple[type[AnyRecord], ...]) -> AnyRecord:
    """The record from its kind and fields. Raises RecordUnreadable."""
    kind = found.get(KIND_FIELD)
    cls: Any = next((cls for cls in kinds if cls.__name__ == kind), None)
    if cls is None:
        raise RecordUnreadable(f"unknown kind {kind!r}")
    codecs = _fields_of(cls)
    if not found.keys() <= {KIND_FIELD, *(name for name, _, _ in codecs)}:
        raise RecordUnreadable(f"{kind} has other fields than it should")
    values = {}
    for name, _, decode in codecs:
        if name not in found:
            if name in _added_later(cls):
                continue
            raise RecordUnreadable(f"{kind} has no {name}")
        try:
            values[name] = decode(found[name])
        except RecordUnreadable as error:
            raise RecordUnreadable(f"{kind}.{name}: {error}") from error
    record: AnyRecord = cls(**values)
    return record


def _without_duplicates(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise RecordUnreadable("a field is given twice")
    return found


def _refuse_number(text: str) -> object:
    raise RecordUnreadable(f"{text[:LONGEST_NUMBER]} is no exact number")


_JSON = json.JSONDecoder(
    object_pairs_hook=_without_duplicates,
    parse_float=_refuse_number,
    parse_constant=_refuse_number,
)


# --- types to codecs ----------------------------------------------------------------------


@cache
def _fields_of(cls: type) -> tuple[tuple[str, Encoder, Decoder], ...]:
    hints = get_type_hints(cls)
    return tuple((field.name, *_codec(hints[field.name])) for field in fields(cls))


@cache
def _added_later(cls: type) -> frozenset[str]:
    """Fields with a default: they came after version 1, whose records lack them."""
    return frozenset(field.name for field in fields(cls) if field.default is not MISSING)


@cache
def _codec(kind: Any) -> tuple[Encoder, Decoder]:
    """How a field of a type is written and read.

    Raises:
        TypeError: there is no exact text for the type; a mistake in the program.
    """
    for plain in (bool, int, str):
        if kind is plain:
            return _same, _exactly(plain)
    for cls, pair in _TEXTS.items():
        if kind is cls:
            return pair
    if get_origin(kind) is tuple and get_args(kind)[1:] == (...,):
        return _tuple_codec(get_args(kind)[0])
    if get_origin(kind) in (Union, UnionType):
        return _union_codec(get_args(kind))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _enum_codec(kind)
    if isinstance(kind, type) and is_dataclass(kind):
        return encoded, _dataclass_decoder((kind,))
    raise TypeError(f"{kind} has no exact text")


def _same(value: Any) -> object:
    return value


def _exactly(plain: type) -> Decoder:
    def decode(found: Any) -> Any:
        # bool is an int to Python, but not in the record.
        if type(found) is not plain:
            raise RecordUnreadable(f"{found!r} is no {plain.__name__}")
        return found

    return decode


def _tuple_codec(item: Any) -> tuple[Encoder, Decoder]:
    encode_item, decode_item = _codec(item)

    def encode(value: Any) -> object:
        return [encode_item(each) for each in value]

    def decode(found: Any) -> Any:
        if type(found) is not list:
            raise RecordUnreadable(f"{found!r} is no list")
        return tuple(decode_item(each) for each in found)

    return encode, decode


def _union_codec(members: tuple[Any, ...]) -> tuple[Encoder, Decoder]:
    some = tuple(member for member in members if member is not NoneType)
    if len(some) == 1:
        encode_some, decode_some = _codec(some[0])
    elif all(is_dataclass(member) for member in some):
        encode_some, decode_some = encoded, _dataclass_decoder(some)
    else:
        raise TypeError(f"{members} cannot be told apart in a record")
    if len(some) == len(members):
        return encode_some, decode_some

    def encode(value: Any) -> object:
        return None if value is None else encode_some(value)

    def decode(found: Any) -> Any:
        return None if found is None else decode_some(found)

    return encode, decode


def _dataclass_decoder(kinds: tuple[type, ...]) -> Decoder:
    def decode(found: Any) -> Any:
        if type(found) is not dict:
            raise RecordUnreadable(f"{found!r} is no object")
        return decoded(found, kinds)

    return decode


def _enum_codec(kind: type[Enum]) -> tuple[Encoder, Decoder]:
    values = {member.value: member for member in kind}

    def encode(value: Any) -> object:
        member: Enum = value
        return member.value

    def decode(found: Any) -> Any:
        # The type is compared too: to Python 1 and true are the same key.
        if not isinstance(found, str | int) or found not in values:
            raise RecordUnreadable(f"{found!r} is no {kind.__name__}")
        member = values[found]
        if type(member.value) is not type(found):
            raise RecordUnreadable(f"{found!r} is no {kind.__name__}")
        return member

    return encode, decode


# --- exact texts --------------------------------------------------------------------------


def _fraction_text(value: Fraction) -> str:
    """The decimal where there is one, else the quotient: 118.5, 1/3."""
    if value.denominator == 1:
        return str(value.numerator)
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return f"{value.numerator}/{value.denominator}"
    places = max(twos, fives)
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    sign = "-" if value < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}"


def _fraction(found: Any) -> Fraction:
    text = _short_text(found)
    if not _FRACTION.fullmatch(text):
        raise RecordUnreadable(f"{found!r} is no exact number")
    try:
        value = Fraction(int(text)) if text.isdecimal() else Fraction(text)
    except ZeroDivisionError:
        raise RecordUnreadable(f"{found!r} is no exact number") from None
    if _fraction_text(value) != text:
        raise RecordUnreadable(f"{found} is not how {value} is written")
    return value


def _short_text(found: Any) -> str:
    if type(found) is not str or len(found) > LONGEST_NUMBER:
        raise RecordUnreadable(f"{found!r} is not the text of a number")
    return found


def _moment_text(value: datetime) -> str:
    if value.tzinfo is None:
        raise RecordUnreadable(f"{value} has no time zone")
    return value.astimezone(UTC).isoformat()


def _moment(found: Any) -> datetime:
    return _moment_from(_short_text(found))


# An event has the moment of its entry, mostly: reading each once halves the time of a restart.
@lru_cache(maxsize=16)
def _moment_from(text: str) -> datetime:
    try:
        value = datetime.fromisoformat(text)
    except ValueError:
        raise RecordUnreadable(f"{text!r} is no moment") from None
    if value.tzinfo is not UTC or value.isoformat() != text:
        raise RecordUnreadable(f"{text} is no moment in UTC")
    return value


def _duration_text(value: timedelta) -> str:
    microseconds = value // _MICROSECOND
    seconds, rest = divmod(abs(microseconds), _MICROSECONDS_PER_S)
    decimals = f".{rest:06d}".rstrip("0") if rest else ""
    sign = "-" if microseconds < 0 else ""
    return f"PT{sign}{seconds}{decimals}S"


def _duration(found: Any) -> timedelta:
    return _duration_from(_short_text(found))


@lru_cache(maxsize=16)
def _duration_from(text: str) -> timedelta:
    match = _DURATION.fullmatch(text)
    if match is None:
        raise RecordUnreadable(f"{text!r} is no length of time")
    sign, seconds, decimals = match.groups()
    microseconds = int(seconds) * _MICROSECONDS_PER_S + int((decimals or "").ljust(6, "0"))
    try:
        value = timedelta(microseconds=-microseconds if sign else microseconds)
    except OverflowError:
        raise RecordUnreadable(f"{text} is too long") from None
    if _duration_text(value) != text:
        raise RecordUnreadable(f"{text} is not how {value} is written")
    return value


_TEXTS: Mapping[type, tuple[Encoder, Decoder]] = {
    Fraction: (_fraction_text, _fraction),
    datetime: (_moment_text, _moment),
    timedelta: (_duration_text, _duration),
}
