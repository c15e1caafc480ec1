"""The same questions as a form on a page."""

import html
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import mistune

from ..controls import Controls, button, choice, group, text, words
from ..faults import Fault, StudyError, counted, refusal
from .answers import read_answers, understood
from .asking import default_of
from .crafts import crafts
from .first import first_answer, new_study, what_next
from .questions import BEGIN, parts_of, questions

_BEGINS = {"workshop": "A workshop that runs", "order": "A first order"}


class StartForm(Controls):
    """Fields for every answer, those given filled in, a folder to make, beside which another name that is typed is made, and a button; what
    comes of it, or what is wrong, shows at the field and below."""

    def __init__(self, folder: str, given: Mapping[str, object] | None = None) -> None:
        self.place = Path(folder).absolute()
        self.asked: dict[str, str] = {}  # questions by key, as the page has them
        super().__init__({"make": self.make})
        self.values = {**(given or begun({})), "folder": self.place.name}
        self._ask()
        self.observe(self._typed, "values")

    def _typed(self, change):
        if any(change.old.get(key) != change.new.get(key) for key in (BEGIN.key, "craft")):
            self._ask()
        else:
            self._stand()

    def _ask(self) -> None:
        """Questions of the chosen craft, drawn anew as a whole; what was typed stays where it is still asked for."""
        order, craft = self.values[BEGIN.key] == "order", crafts()[self.values["craft"]]
        groups, self.asked = [], {BEGIN.key: "How do you begin", "craft": "1. Which craft?"}
        for number, question in enumerate(questions(order)[1:], start=2):
            fields = []
            for part in parts_of(question, craft):
                unit = part.in_words("money, with its currency" if part.key == "price" else "the same currency", per=False)
                self.asked[part.key] = f"{number}. {part.ask}{f' [{unit}]' if unit else ''}"
                fields.append(text(part.key, self.asked[part.key]))
            groups += [group(question.title, *fields)] if fields else []
        self.faults, self.said = {}, {}
        self._stand()
        self.parts = [
            choice(BEGIN.key, self.asked[BEGIN.key], _BEGINS, radio=True),
            choice("craft", self.asked["craft"], {craft.id: craft.name for craft in crafts().values()}),
            *groups,
            group("The study", text("folder", "Folder to make", f"a name alone is made in {self.place.parent}")),
            button("make", "Make my study"),
            words("made", live=True),
        ]

    def _stand(self) -> None:
        """What stands in where a field is left empty, in the currency of the price and within the hours as far as they can be read."""
        for keys in ((), ("price", "pieces"), ("price", "pieces", "weekly_hours")):
            known = {key: self.values[key] for key in (BEGIN.key, "craft", *keys) if key in self.values and key in self.asked}
            with suppress(StudyError):
                answers = read_answers(known, partly=True)
        stands = {
            part.key: default_of(answers, part) + (f" {answers.currency}" if "{money}" in part.unit else "")
            for part in answers.parts
            if part.kind != "craft"
        }
        self.hints = {key: f"left empty, {words} stands in" if words else "needed" for key, words in stands.items()}

    def make(self) -> None:
        """Make the study and show its answer, or what is wrong."""
        self.say(made="<p>Working it out …</p>")
        folder = self.place.parent / self.values["folder"].strip()
        try:
            answers = read_answers({key: self.values.get(key, "") for key in self.asked})
            heard = understood(answers)
            kit, defaults = new_study(folder, answers)
        except StudyError as error:
            self._wrong(error.faults)
            return
        self.faults = {}
        whole, command = what_next(kit, str(folder))
        paragraphs = [
            "## The answer",
            *first_answer(kit, defaults),
            f"Your study: `{folder}`. The whole {whole}: `{command}`.",
            "## As understood",
            "\n".join(f"- {line}" for line in heard),
        ]
        self.say(made=mistune.create_markdown(escape=True)("\n\n".join(paragraphs)))

    def _wrong(self, faults: list[Fault]) -> None:
        """Each fault at its question, where its place is seen, and how many there are below."""
        plain = [(fault.column, str(replace(fault, file="", column="")).removeprefix(": ")) for fault in faults]
        told = {place if place in self.asked else "folder": words for place, words in plain}
        names = {**self.asked, "folder": "Folder to make"}
        rows = "".join(f"<li>{html.escape(names[key])} <b>{html.escape(words)}</b></li>" for key, words in told.items())
        self.faults = told
        self.say(made=f"<p><b>Not made yet: {counted(len(told), 'answer')} to mend.</b></p><ul>{rows}</ul>")


def begun(given: Mapping[str, object], currency: str | None = None, locale: str | None = None) -> dict[str, str]:
    """Answers that a form begins with, the craft and the beginning among them; StudyError where they cannot be read, and for a
    currency or locale, which a form takes from the price."""
    if found := currency or locale:
        raise refusal("--form", "takes currency and locale from the price", "no --currency and no --locale", found=found)
    read = read_answers({"craft": next(iter(crafts())), **given}, partly=True)
    texts = {key: str(value) for key, value in given.items()}
    return texts | {BEGIN.key: "order" if read.order else "workshop", "craft": read.craft.id}
