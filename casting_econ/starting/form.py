"""The same questions as a form in a notebook."""

import tempfile
from pathlib import Path

import ipywidgets as widgets
from IPython.display import Markdown, display

from ..faults import StudyError
from .answers import read_answers, understood
from .asking import default_of
from .crafts import crafts
from .first import first_answer, new_study
from .questions import BEGIN, parts_of, questions
from .write import LOCALES

_WIDE = widgets.Layout(width="100%", max_width="44em")


class StartForm(widgets.VBox):
    """Fields for every answer, a folder to make, and a button; what comes of it shows below.

    Parameters
    ----------
    folder : str
        Folder to make.
    """

    def __init__(self, folder: str) -> None:
        self.begin = widgets.ToggleButtons(options={"A workshop that runs": "workshop", "A first order": "order"})
        self.craft = widgets.Dropdown(
            options=[(craft.name, craft.id) for craft in crafts().values()],
            description="Craft",
            style={"description_width": "initial"},
        )
        self.fields: dict[str, widgets.Text] = {}
        self.asked = widgets.VBox()
        self.folder = widgets.Text(
            value=folder, description="Folder to make", style={"description_width": "initial"}, layout=_WIDE
        )
        self.button = widgets.Button(description="Make my study", button_style="primary")
        self.shown = widgets.Output()
        self.begin.observe(self._ask, names="value")
        self.craft.observe(self._ask, names="value")
        self.button.on_click(lambda _: self.make())
        self._ask()
        super().__init__([self.begin, self.craft, self.asked, self.folder, self.button, self.shown])

    def _ask(self, _=None) -> None:
        """Fields for the chosen craft; what was typed already stays."""
        craft, rows = crafts()[self.craft.value], []
        before, self.fields = self.fields, {}
        for number, question in enumerate(questions(self.begin.value == "order")[1:], start=2):
            for part in parts_of(question, craft):
                unit = part.in_words("money, with its currency" if part.key == "price" else "the same currency", per=False)
                field = before.get(part.key) or widgets.Text(layout=_WIDE)
                field.placeholder = "needed" if part.needed else f"don't know: {default_of(craft, part)} stands in"
                self.fields[part.key] = field
                words = f"{number}. {part.ask}{f' [{unit}]' if unit else ''}"
                rows.append(widgets.VBox([widgets.Label(words, layout=_WIDE), field]))
        self.asked.children = rows

    def make(self) -> None:
        """Make the study and show its answer, or what is wrong."""
        self.shown.clear_output()
        with self.shown:
            try:
                said = {BEGIN.key: self.begin.value, "craft": self.craft.value}
                answers = read_answers(said | {key: field.value for key, field in self.fields.items()})
                heard = understood(answers, LOCALES[answers.currency])
                display(Markdown("**As understood:**\n\n" + "\n".join(f"- {line}" for line in heard)))
                kit, defaults = new_study(self.folder.value, answers)
            except StudyError as error:
                display(Markdown("**Not made yet:**\n\n" + "\n".join(f"- {fault}" for fault in error.faults)))
                return
            display(Markdown("\n\n".join([*first_answer(kit, defaults), f"Your study: `{self.folder.value}`."])))


def start_form(folder: str) -> StartForm:
    """The form; `folder` is what is made unless another is typed."""
    return StartForm(folder)


def example(craft: str) -> Markdown:
    """The first answer of a craft with nothing known, and nothing kept."""
    with tempfile.TemporaryDirectory() as place:
        kit, defaults = new_study(Path(place) / f"{craft}-by-guesses", read_answers({"craft": craft}))
        return Markdown("\n\n".join(first_answer(kit, defaults)))
