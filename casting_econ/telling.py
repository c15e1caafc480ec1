"""How a command says things and reads what stands behind its options; light, since every command starts with it."""

import errno
import os
import signal
import sys
from threading import Timer

import click


def plain(paragraph: str) -> str:
    """Words for a terminal: no marks of emphasis, lines of a readable length."""
    import shutil
    import textwrap

    width = max(min(shutil.get_terminal_size().columns, 100), 30)
    lines = filter(None, paragraph.replace("**", "").splitlines())
    return "\n".join(textwrap.fill(line, width, break_on_hyphens=False) for line in lines)


def counts_of(option: str, texts: tuple[str, ...], *, alone: bool = False) -> dict[str, str]:
    """NAME=N of the command line, or N alone under no name; StudyError for anything else."""
    from .faults import Fault, StudyError

    found, faults = {}, []
    for text in texts:
        name, equals, count = text.rpartition("=")
        if name.strip() in found:
            faults.append(Fault(option, "given twice", "each once, with its whole count", found=repr(text)))
        elif name.strip() if equals else alone:
            found[name.strip()] = count.strip()
        else:
            right = "NAME=N with a whole number" + (", or N alone" if alone else "")
            faults.append(Fault(option, "not a number of pieces", right, found=repr(text)))
    if faults:
        raise StudyError(faults)
    return found


def figures_of(option: str, text: str, unit: str, **limits: float) -> list[float]:
    """A list of figures with units from the command line, sorted, each once; StudyError for what is none."""
    from .faults import StudyError, fault_of
    from .study.numbers import Quantity, told

    quantity, figures, faults = Quantity(unit, **limits), set(), []
    for part in text.split(","):
        try:
            figures.add(quantity.read(part.strip(), "EUR").value)
        except ValueError as error:
            faults.append(fault_of(told(error, quantity.in_words("EUR")), file=option, found=repr(part.strip())))
    if faults:
        raise StudyError(faults)
    return sorted(figures)


class faults_told:
    """Turns faults, failures, interrupts and terminations into messages and exit codes, without a traceback."""

    def __enter__(self) -> None:
        self.stopped = False
        numbers = [number for number in (signal.SIGINT, signal.SIGTERM) if signal.getsignal(number) is not signal.SIG_IGN]
        self.before = {number: signal.signal(number, self._stop) for number in numbers}
        self.hook, sys.unraisablehook = sys.unraisablehook, self._lost

    def _stop(self, *_) -> None:
        self.stopped = True  # whatever an import that is cut short makes of the interrupt
        raise KeyboardInterrupt

    def _lost(self, thrown) -> None:
        if self.stopped and thrown.exc_type is KeyboardInterrupt:  # it came where Python cannot raise: once more, a little later
            Timer(0.1, os.kill, (os.getpid(), signal.SIGINT)).start()
        else:
            self.hook(thrown)

    def __exit__(self, kind, error, trace) -> bool:
        for number, handler in self.before.items():  # a second one finds nothing to interrupt
            signal.signal(number, signal.SIG_IGN if self.stopped and kind else handler)
        sys.unraisablehook = self.hook
        if kind is None:
            return False
        if self.stopped or issubclass(kind, KeyboardInterrupt):
            said = "Stopped; nothing is half written. A run keeps its finished pages, and the same command goes on from there."
            click.echo(f"\n{said}", err=True)
            sys.exit(130)
        if kind.__module__.startswith("casting_econ"):
            faults = getattr(error, "faults", None)
            click.echo(str(error), err=True)
            if faults is not None:
                from .faults import Question, counted

                asked = sum(isinstance(fault, Question) for fault in faults)
                parts = [counted(len(faults) - asked, "fault")] if len(faults) > asked else []
                parts += [counted(asked, "open question")] if asked else []
                click.echo(f"\n{' and '.join(parts)} found; nothing was changed.", err=True)
            sys.exit(2 if faults is not None else 1)
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            place, right = error.filename or "the disk", "some room on it, then the same command again"
            click.echo(f"{place}: cannot be written; found {error.strerror}; right would be {right}", err=True)
            click.echo("\n1 fault found; what was there is as it was.", err=True)
            sys.exit(2)
        return False
