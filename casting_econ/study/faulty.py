"""What pydantic finds wrong in a study file, in the kit's words, and the file without it."""

import re
from collections import Counter
from dataclasses import replace

from pydantic import ValidationError

from ..faults import close_match, cut, fault_of
from ..reference import words
from .consistency import MOST_FAULTS, STUDY_FILE
from .keys import names_at
from .numbers import UNKNOWN
from .schema import StudyFile
from .text import copied, within

# in place of a table that is missing or none, so that what stands beside it can be checked
_STAND_INS = {
    ("time",): {"weeks": UNKNOWN, "hours": UNKNOWN, "fixed_hours": UNKNOWN},
    ("calendar",): {"monday": "00:00-24:00"},
    ("target",): {"per_hour": UNKNOWN},
}


def validated(raw, currency):
    """The keys of a file as a StudyFile as far as it can be read, or None; its faults; the tables, by their first two keys, in which something
    was left out; and the keys that it was read from."""
    context = {"currency": currency}
    try:
        return StudyFile.model_validate(raw, context=context), [], frozenset(), raw
    except ValidationError as error:
        return _without_faulty(raw, error, context, faults_of(error, currency))


def _without_faulty(raw, error, context, faults):
    """The file with what is faulty in it unknown or left out, so that the rest can still be checked; no file if that fails."""
    patched, tries, left_out = copied(raw), Counter(), set()
    currency = context["currency"]
    stand_ins = _STAND_INS | {("study",): {"name": "study", "currency": currency}, ("study", "currency"): currency}
    for _ in range(6):  # a value made unknown may need its neighbour made unknown, or be no number after all
        for item in error.errors():
            path = _keys(item["loc"])
            numbered = next((at for at, part in enumerate(path) if isinstance(part, int)), None)
            node = within(patched, path[:-1])
            if numbered is not None and (tries[path] or not isinstance(node, dict)):
                path = path[:numbered]  # an entry of a list that cannot be mended is left out with its list
                node = within(patched, path[:-1])
            if not path or not isinstance(node, dict):
                return None, faults, frozenset(), patched
            gone = item["type"] == "extra_forbidden" or tries[path] == 1 or numbered == len(path)
            stand_in = stand_ins.get(path) or ({"step": {}} if path[0] == "products" and path[-1] == "steps" else UNKNOWN)
            tries[path] += 1
            if gone and (item["type"] != "missing" or numbered == len(path)):
                node.pop(path[-1], None)
            else:  # a text that is needed and cannot be unknown
                node[path[-1]] = "unknown" if tries[path] > 1 and stand_in is UNKNOWN else stand_in
            if gone or stand_in is not UNKNOWN or tries[path] > 1:
                left_out.add(".".join(map(str, path[:2])))
        try:
            return StudyFile.model_validate(patched, context=context), faults, frozenset(left_out), patched
        except ValidationError as again:
            error = again
    return None, faults, frozenset(), patched


def _keys(location):
    """Keys of the file in the place that pydantic gives."""
    return tuple(part for part in location if part not in ("function-before", "[key]"))


def faults_of(error, currency="EUR"):
    """The first faults of a validation, in the kit's words; a key that is missing and an unknown one that means it are one."""
    found = [_fault(item, currency) for item in error.errors(include_url=False)[:MOST_FAULTS]]
    missing, told = {fault.column: fault for fault in found if fault.wrong == "is missing"}, []
    for fault in found:
        hint = re.search(r"did you mean '([^']+)'", fault.right) if fault.wrong == "unknown key" else None
        meant = missing.pop(f"{fault.column.rpartition('.')[0]}.{hint[1]}".strip("."), None) if hint else None
        told.append(fault if meant is None else replace(fault, right=f"{fault.right}, which is missing: {meant.right}"))
    return [fault for fault in told if fault.wrong != "is missing" or fault.column in missing]


def _fault(item, currency="EUR"):
    """One pydantic error in the kit's words."""
    keys = [str(part) for part in _keys(item["loc"])]
    found = "" if item["type"] == "missing" else cut(repr(item.get("input")))
    message = item["msg"].removeprefix("Value error, ")
    wrong, _, right = message.partition(" -> ")
    if item["type"] == "extra_forbidden":
        known = names_at([key for key in _keys(item["loc"])[:-1] if isinstance(key, str)])
        meant = words("fault")["everyday"].get(keys[-1])
        near = f" (did you mean {meant!r}?)" if meant in known else close_match(keys[-1], known)
        wrong, right = "unknown key", f"one of {', '.join(known)}{near}"
        found = repr(keys[-1])
    elif item["type"] == "missing":
        examples = words("fault")["examples"]
        example = examples.get(".".join(keys)) or examples.get(f"{keys[0]}.NAME.{keys[-1]}", "this key with a value")
        wrong, right = "is missing", example.replace("X", currency)
    elif item["type"] == "too_long":
        wrong, found, right = "too many entries", f"{len(item['input']):,}", f"at most {item['ctx']['max_length']}"
    elif not right:
        wrong, right = "cannot be used", message.replace("Input should", "should").removeprefix("should be ")
        if item["type"] == "literal_error":
            right += close_match(item["input"], re.findall("'([^']+)'", message))
        right = words("fault")["kinds"].get(item["type"], right)
    return fault_of(f"{wrong} -> {right}", file=STUDY_FILE, column=".".join(keys), found=found)
