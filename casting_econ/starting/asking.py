"""Asking the questions: in a terminal one after the other, or all at once from a file and options."""

import tomllib
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from ..faults import Fault, StudyError, counted, fault_of, refusal, refusals_told
from ..study.fields import known_locale
from ..study.inputs import must_be_new
from .answers import UNKNOWN, Answers, asks_order, read_answers
from .crafts import Guess, crafts
from .questions import BEGIN, Part, parts_of, questions
from .reading import STAND_IN


def locale_asked(locale: str | None) -> str | None:
    """A locale that numbers can be written in, or none; StudyError for another."""
    try:
        return locale and known_locale(locale)
    except ValueError as error:
        raise StudyError([fault_of(error, file="--locale", found=repr(locale))]) from None


def answers_given(file: str | None, options: tuple[str, ...] = (), craft: str | None = None) -> dict[str, Any]:
    """Answers of a file and of options by key; an option counts more than the file. StudyError if the file cannot be read, or an option is
    not KEY=ANSWER."""
    found: dict[str, Any] = {}
    if file is not None:
        right = 'a text file with lines such as: craft = "soap", price = "6 7 9 EUR"'
        with refusals_told(file, "cannot be read", right):
            data = Path(file).read_bytes()
        try:
            # a figure without quotes stays as it is written: 2.160 may be two thousand
            read = tomllib.loads(data.decode("utf-8-sig"), parse_float=str)
        except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise refusal(file, "is not a file of answers", right, found=str(error)) from None
        for key, value in read.items():  # [minutes] sand = 3 is minutes.sand
            if isinstance(value, dict) and key == "colours":
                found[key] = ", ".join(f"{name} {count}" for name, count in value.items())
            elif isinstance(value, dict):
                found |= {f"{key}.{inner}": one for inner, one in value.items()}
            else:
                found[key] = ", ".join(map(str, value)) if isinstance(value, list) else value
    right = "KEY=ANSWER, such as 'cure=24 h'"
    if faults := [Fault("--answer", "not an answer", right, found=repr(one)) for one in options if "=" not in one]:
        raise StudyError(faults)
    given = {key.strip(): text.strip() for key, _, text in (option.partition("=") for option in options)}
    return found | given | ({"craft": craft} if craft else {})


def ask(
    given: Mapping[str, Any],
    currency: str | None,
    folder: str,
    *,
    terminal: bool,
    say: Callable[[str], None],
    prompt: Callable[..., str],
) -> Answers:
    """All answers; what is not given is asked for in a terminal, and else counts as not known, which is said.

    StudyError for given answers that cannot be read, all in one go (a wrong answer in a terminal is asked again instead), where no craft is
    given and nobody can be asked, or where the folder is there already.
    """
    must_be_new(folder)  # before a dozen answers are lost
    texts = dict(given)
    if not terminal:
        found = read_answers(texts, currency, "answers")
        if missing := [part.key for part in found.parts if part.key not in texts]:
            count = f"{counted(len(missing), 'answer')} count{'s' if len(missing) == 1 else ''}"
            say(f"Nobody to ask here, so {count} as don't know: {', '.join(missing)}.")
        return found

    def asked(words: str, default: str, check: Callable[[str], object]) -> str:
        """What is typed, asked again until `check` takes it; what it gives, if anything, stands in its place."""
        while True:
            text = prompt(words, default=default)
            try:
                return check(text) or text
            except ValueError as error:
                say(f"  {str(error).replace(' -> ', '; right would be ')}")
            except StudyError as error:  # who is asked knows where
                say("  " + "; ".join(f"{fault.wrong}; right would be {fault.right}" for fault in error.faults))

    if "craft" not in texts:
        say(
            "A dozen questions. Answer with one figure if you are sure, with low, likely and high (such as 2 3 5) if not, "
            "or just press Enter if you don't know: a guess of the trade stands in and is marked as one."
        )
    if BEGIN.key not in texts and not asks_order(texts):
        texts[BEGIN.key] = asked(BEGIN.ask, "workshop", lambda text: asks_order({BEGIN.key: text}) and None)
    if "craft" not in texts:
        for number, craft in enumerate(crafts().values(), start=1):
            say(f"  {number}  {craft.name}")
        which = f"1/{len(questions(asks_order(texts)))}  Which craft? The number or the name"
        texts["craft"] = asked(which, "1", _craft)
    checked = read_answers(texts, currency, "answers", partly=True)
    for number, question in enumerate(order := questions(checked.order), start=1):
        for part in parts_of(question, checked.craft):
            if part.key not in texts:
                words = _words(f"{number}/{len(order)}  {part.ask}", part, currency or checked.currency, checked)
                fits = partial(_fits, part, texts, currency, checked)
                texts[part.key] = asked(words, "" if part.needed else "don't know", fits)
                checked = read_answers(texts, currency, partly=True)  # the price says the currency
    return read_answers(texts, currency, "answers")


def _craft(text) -> str:
    """The craft of a number of the list, or of a name; ValueError or StudyError where there is none."""
    if not text.isdecimal():
        return read_answers({"craft": text}).craft.id
    known = list(crafts())
    if not 0 < int(text) <= len(known):
        raise ValueError("one of the numbers above, please")
    return known[int(text) - 1]


def _fits(part, texts, currency, before, text):
    """ValueError or StudyError for an answer that cannot be read, or does not fit those there are."""
    if part.needed and text.strip().casefold() in UNKNOWN:
        raise ValueError("this is needed, and no guess can stand in for it")
    read_answers({**texts, part.key: text}, currency, partly=True)


def _words(ask, part, currency, before):
    """A question with the unit of its answer, and what stands in for it."""
    unit = part.in_words(f"{currency} or another currency" if part.key == "price" else currency, per=part.key != "price")
    stands = default_of(before, part)
    aside = "; ".join(text for text in (unit, stands and f"don't know takes {stands}") if text)
    return f"{ask}{f' [{aside}]' if aside else ''}"


def default_of(answers: Answers, part: Part) -> str:
    """What stands in where an answer is not known, in the unit that is asked for; '' where nothing can.

    >>> soap = read_answers({"craft": "soap", "price": "6 GBP"})
    >>> [default_of(soap, part) for part in soap.parts if part.key in ("cure", "target")]
    ['28 35 42', '12 13 16']
    """
    table = answers.craft.table
    if part.needed:
        return ""
    stands = {"word": table["piece"], "colours": "all alike", "places": str(table["casts_per_load"]), "times": STAND_IN}
    if part.kind in stands:
        return stands[part.kind]
    if part.key == "cavities":
        return "as many as there are masters, at most a load"
    if part.whole:
        return str(table["masters"][1] if part.key == "masters" else table[part.key])
    guess = Guess.of(part.guess) if part.guess else answers.guess(part.key).times(1 / part.scale)
    figures = " ".join(f"{figure:g}" for figure in dict.fromkeys((guess.low, guess.likely, guess.high)))
    return f"{figures} a piece" if part.key == "price" and part.per != "piece" else figures
