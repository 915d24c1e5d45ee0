"""Read the bench file, and keep where its values stand for what is found wrong later."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from station.bench_faults import faults, misfits
from station.bench_forms import BenchForm
from station.board import Board
from station.dialectfile import own_dialect
from station.document import Document, parse_document, read_text
from station.errors import InputError, Problem
from station.forms import fill
from station.steps import BoundStep
from station.steps.resisting import Resistance

__all__ = ["BenchFile", "load_bench_file", "parse_bench_file"]


@dataclass(frozen=True)
class BenchFile:
    """A checked bench file, with the places of its values for what is found wrong later."""

    form: BenchForm
    path: Path
    text: str
    document: Document

    def misfits(self, board: Board) -> list[Problem]:
        """Return what keeps this bench from testing a board: a terminal that nothing reaches, a channel too small."""
        return [self.document.problem(*found) for found in misfits(self.form, board)]

    def doubled(self, steps: Iterable[BoundStep]) -> list[Problem]:
        """Return the wires whose leads a step takes off as well."""
        taken = [step.setup.title for step in steps if isinstance(step.form, Resistance) and step.form.leads]
        what, instead = f"the profile's step '{taken[0] if taken else ''}' takes leads off as well", "keep one of them"
        wires = [name for name, wire in self.form.wiring.items() if wire.leads is not None and taken]
        return [self.document.problem(("wiring", name, "leads"), what, instead) for name in wires]

    def texts(self) -> dict[str, str]:
        """Return the text of the file and of each dialect in a file of its own, by what it is, for the record."""
        own = {name: own_dialect(each.dialect) for name, each in self.form.instruments().items()}
        said = {f"dialect of {name}": read_text(path) for name, path in own.items() if path is not None}
        return {"bench file": self.text, **said}


def load_bench_file(path: Path) -> BenchFile:
    """Return the bench in a file; InputError holds all that is wrong with it."""
    return parse_bench_file(read_text(path), path)


def parse_bench_file(text: str, path: Path) -> BenchFile:
    """Return the bench in a text; InputError holds all that is wrong with it."""
    document = parse_document(text, str(path))
    form, problems = fill(BenchForm, document.data, document, ())
    if form is not None:
        form = form.beside(path.parent)
        problems = [document.problem(*found) for found in faults(form)]
    if form is None or problems:
        raise InputError(problems)
    return BenchFile(form, path, text, document)
