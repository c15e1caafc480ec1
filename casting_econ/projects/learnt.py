"""`casting-econ learn`: a new study folder in which what one order taught rests on its records."""

from collections.abc import Callable
from pathlib import Path

import tomlkit

from ..faults import StudyError, refusal
from ..kit import format_of, open_study
from ..study.inputs import changed_copy, place_for_copy
from ..study.numbers import written
from ..study.told import log_of
from .lessons import Lesson, Lessons, look_back
from .tables import lesson_table


def learn_from(folder: Path | str, order: str, target: Path | str, say: Callable[[str], None]) -> Path:
    """Write a new study of what an order of a study taught, and say each number that moves; the new folder.

    StudyError for an unknown order, one whose rows measure nothing, or a folder that cannot be made.
    """
    kit = open_study(folder)
    lessons, fmt = look_back(kit, order, finished=True), format_of(kit)
    if not lessons.rows:
        right = "hours, loads or purchases of it in the logs"
        raise refusal(order, "nothing to learn from", right, found="no row of the order that measures a number of the study")
    made = write_learnt(lessons, target)
    for what, unit, *figures, data, _ in lesson_table(lessons).itertuples(index=False):
        old, measured, new = map(fmt.significant, figures)
        say(f"{what}: {old} before, {measured} measured, {new} from now on [{unit}] ({data})")
    return made


def write_learnt(lessons: Lessons, folder: Path | str) -> Path:
    """Write a copy of the study with its logs, in which every number that the order measures asks its records; the study is only read.

    The new folder is beside the study where it is a name alone. StudyError for one that is there already, is within the study, or cannot
    be written.
    """
    study = lessons.project.kit.study
    target, faults = place_for_copy(study.folder, folder)
    if faults:
        raise StudyError(faults)
    name = lessons.project.order.name
    return changed_copy(study.folder.resolve(), target, lambda text: study_learnt(text, lessons.rows, name), open_study)


def study_learnt(text: str, rows: list[Lesson], order: str) -> str:
    """The text of a study file with lessons in it; comments and what no lesson touches stay as they are.

    A number that its logs tell keeps its guess and asks for records, so that the rows count once. One whose rows have no count of
    pieces is written as measured, worth the pieces of the order.
    """
    document = tomlkit.parse(text)
    for row in rows:
        *path, last = row.key.split(".")
        node = document
        for part in path:
            node = node[part] if part in node else node.setdefault(part, tomlkit.table())
        old = node.get(last)
        if row.counted is None:
            if isinstance(old, dict):
                old.setdefault("from", "records")
                continue
            new = _item(f'{{ value = {old.as_string()}, from = "records" }}')
        else:
            figure = f"{written(row.new)} {'min' if row.unit == 'minute' else row.unit}".strip()
            note = tomlkit.item(f"{row.data}, from the order {order}; {written(row.old, 4)} before").as_string()
            # later rows would count too
            asks = f'from = "records", worth = "{written(row.counted, 4)}", ' if log_of(row.key) else ""
            new = _item(f'{{ value = "{figure}", {asks}basis = "measured", note = {note} }}')
        if old is not None:
            new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
        node[last] = new
    return tomlkit.dumps(document)


def _item(text):
    """A value as a study file writes it."""
    return tomlkit.parse(f"x = {text}\n")["x"]
