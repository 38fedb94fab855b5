"""Files that users write: read with care, checked against a schema, and what is wrong said in sentences.

A schema's `description` says what each field must be; it is the second half of the sentence that a wrong
value gets: "'holes' is 0; a member has 1 to 1000 holes, counted whole".
"""

from __future__ import annotations

import difflib
import itertools
import json
import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NoReturn

import jsonschema

from recon.errors import ReconError

MAX_BYTES = 64 * 2**20  # a frame of 2000 members is under 1 MB; larger is some other file
# Values in a JSON file. The largest frame file, 2000 members and 100,000 joints, has 1.2 million, and two
# million of the smallest take 2 s and 0.4 GB to read (measured on a server's core).
MOST_VALUES = 2_000_000
MOST_ERRORS = 1000  # looked for in one file: the first is said, the others are only counted


Place = tuple[str | int, ...]  # keys and indices that lead to a value


def read_text(path: str | Path, what: str) -> str:
    """The text of a UTF-8 file.

    Parameters
    ----------
    path : str or Path
    what : str
        Names the file's kind in errors ("frame file").

    Raises
    ------
    ReconError
        Where it is missing, a folder, unreadable, too large or not text.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise ReconError(f"{path}: this is a folder, not a {what}; name a file in it.")
        if not path.exists():
            raise ReconError(f"{path}: there is no such file; check the name.")
        if not path.is_file():
            raise ReconError(f"{path}: this is not an ordinary file; save the {what} to disk first.")
        if path.stat().st_size > MAX_BYTES:
            raise ReconError(
                f"{path}: too large for a {what} ({path.stat().st_size >> 20} MB); "
                "check that it is the right file."
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReconError(
            f"{path}: this is not text (byte {error.start + 1}); a {what} is UTF-8 text."
        ) from error
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte
        raise ReconError(
            f"{path}: cannot be read ({getattr(error, 'strerror', None) or error}); check its permissions."
        ) from error


def parse_json(text: str, where: str) -> Any:
    """The value that a JSON text holds; `where` names its file in errors.

    Raises
    ------
    ReconError
        With line and column where it is not JSON; also for NaN, for a number that no float holds, for a field
        given twice and where there are more values than MOST_VALUES.

    Examples
    --------
    >>> parse_json('{"holes": 3}', "frame.json")
    {'holes': 3}
    """

    def no_constant(name: str) -> NoReturn:
        raise ReconError(f"{where}: {name} is not a number that JSON knows; replace it by a number or null.")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        fields: dict[str, Any] = {}
        for key, value in pairs:
            if key in fields:
                raise ReconError(f"{where}: '{key}' is given twice in one object; leave one out.")
            fields[key] = value
        return fields

    if text.count(",") > MOST_VALUES:
        raise ReconError(
            f"{where}: it holds more than {MOST_VALUES:,} values, more than any file that is read; check "
            "that it is the right file."
        )
    try:
        return json.loads(text, parse_constant=no_constant, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        raise ReconError(
            f"{where}, line {error.lineno}, column {error.colno}: not JSON ({_lower(error.msg)}); "
            "mend it there, or write the file anew."
        ) from error
    except RecursionError as error:
        raise ReconError(
            f"{where}: brackets within brackets too deep to read; write the file anew."
        ) from error
    except ValueError as error:  # a whole number of thousands of digits
        raise ReconError(f"{where}: a number has too many digits; shorten it.") from error


def check(data: Any, schema: Mapping[str, Any], where: str, name_place: Callable[[Place], str]) -> None:
    """Checks the values of a file against its schema.

    Parameters
    ----------
    data
        The plain values.
    schema : mapping
        JSON Schema, draft 2020-12; its descriptions are part of the errors.
    where : str
        The file's name.
    name_place : callable
        From a path in `data`, a tuple of keys and indices, to words such as "member C", or "" for the whole.

    Raises
    ------
    ReconError
        With the first thing that the schema forbids, and how many more there are.
    """
    _check_lengths(data, schema, where)
    path, problem = _no_value(data)
    if path is not None:
        raise ReconError(_sentence(where, name_place(path), f"'{_field(path)}' {problem}"))
    found = jsonschema.Draft202012Validator(schema).iter_errors(data)
    errors = sorted(itertools.islice(found, MOST_ERRORS), key=lambda e: _order(e.absolute_path))
    if errors:
        first, more = errors[0], len(errors) - 1
        many = str(more) if len(errors) < MOST_ERRORS else f"at least {more}"
        rest = f" ({many} more like it.)" if more else ""
        raise ReconError(
            _sentence(where, name_place(tuple(first.absolute_path)), _problem(first, schema)) + rest
        )


def _problem(error: jsonschema.ValidationError, whole_schema: Mapping[str, Any]) -> str:
    path, schema = tuple(error.absolute_path), error.schema
    if error.validator == "required":
        name = next(k for k in error.validator_value if k not in error.instance)
        wanted = schema.get("properties", {}).get(name, {}).get("description", "it is needed")
        return f"'{name}' is missing; {wanted}."
    if error.validator == "additionalProperties":
        name = next(k for k in error.instance if k not in schema["properties"])
        return (
            f"there is no field '{shorten(name)}'; {suggest(name, schema['properties'], 'the fields are')}."
        )
    wanted = _description(error, whole_schema) or error.message
    if not path:
        return f"{wanted}."
    value = shorten(json.dumps(error.instance, ensure_ascii=False, default=str))
    return f"'{_field(path)}' is {value}; {wanted}."


def _description(error: jsonschema.ValidationError, whole_schema: Mapping[str, Any]) -> str | None:
    """What the field is said to be where it stands in the schema, else where a $ref leads."""
    holder: Any = whole_schema
    for step in list(error.absolute_schema_path)[:-1]:
        if step not in holder:  # the path goes on beyond a $ref
            break
        holder = holder[step]
    else:
        if "description" in holder:
            return str(holder["description"])
    text = error.schema.get("description")
    return None if text is None else str(text)


def suggest(word: str, known: Iterable[str], otherwise: str) -> str:
    """Words that name the known word nearest to `word`, or all of them after `otherwise`.

    Examples
    --------
    >>> suggest("hole", ["holes", "width"], "the fields are")
    "perhaps 'holes' is meant"
    >>> suggest("colour", ["holes", "width"], "the fields are")
    'the fields are holes, width'
    """
    known = list(known)
    near = difflib.get_close_matches(str(word), known, n=1)
    return f"perhaps '{near[0]}' is meant" if near else f"{otherwise} {', '.join(known)}"


def shorten(text: object, most: int = 60) -> str:
    """The text, its middle left out where it is long."""
    text = str(text)
    return text if len(text) <= most else f"{text[: most - 20]} ... {text[-14:]}"


def _sentence(where: str, place: str, problem: str) -> str:
    return ": ".join(part for part in (where, place, problem) if part)


def _field(path: Place) -> str:
    """The last name in a path, with the position counted from 1 where it ends in a list."""
    names = [i for i, p in enumerate(path) if isinstance(p, str)]
    if not names:
        return "entry" if path else "value"
    positions = [p for p in path[names[-1] + 1 :] if isinstance(p, int)]
    return str(path[names[-1]]) + "".join(f" [{p + 1}]" for p in positions)


def _order(path: Iterable[str | int]) -> list[tuple[int, int, str]]:
    """Sort key that puts errors in the order of the file."""
    return [(0, p, "") if isinstance(p, int) else (1, 0, p) for p in path]


def _check_lengths(data: Any, schema: Mapping[str, Any], where: str) -> None:
    """Refuses lists that are too long before anything in them is looked at."""
    for name, field in schema.get("properties", {}).items():
        entries = data.get(name) if isinstance(data, dict) else None
        if isinstance(entries, list) and len(entries) > field.get("maxItems", math.inf):
            raise ReconError(f"{where}: '{name}' has {len(entries):,} entries; {field['description']}.")


def no_text(text: str) -> bool:
    """Whether a string holds what is no character (half of a surrogate pair) and cannot be written as text.

    Examples
    --------
    >>> no_text("gate"), no_text(chr(0xD800))
    (False, True)
    """
    return not text.isascii() and any("\ud800" <= c <= "\udfff" for c in text)


def _no_value(data: Any) -> tuple[Place | None, str]:
    """Path of a float that is not finite or a string that is no text, and what is wrong with it; else None.

    Without recursion: data may be nested deep.
    """
    todo: list[tuple[Place, Any]] = [((), data)]
    while todo:
        path, value = todo.pop()
        if isinstance(value, float) and not math.isfinite(value):
            return path, "is not a finite number; give a number."
        if isinstance(value, str):
            return path, "holds half of a surrogate pair, which is no character; write it anew."
        items: Iterable[tuple[Any, Any]] = ()
        if isinstance(value, dict):
            items = value.items()
        elif isinstance(value, (list, tuple)):
            items = enumerate(value)
        todo += [
            (path + (k,), v)
            for k, v in items
            if isinstance(v, (float, dict, list, tuple)) or (isinstance(v, str) and no_text(v))
        ]
    return None, ""


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
