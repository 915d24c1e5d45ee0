"""The typed forms behind board sheets and profiles, and how their errors are worded.

A form's fields are its YAML keys, with blanks for underscores. Values are read with their units here, so that
nothing beyond this point ever sees a text where a number belongs.
"""

import difflib
from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, WithJsonSchema

from station.document import Document, Path_
from station.errors import Problem, halves
from station.quantities import Limit, LimitError, parse_value, percent

__all__ = [
    "AmpsValue",
    "CurrentLimit",
    "DecibelLimit",
    "FaradsValue",
    "Form",
    "HertzValue",
    "KelvinPerWattValue",
    "LeadsValue",
    "OhmsValue",
    "PowerLimit",
    "RatioLimit",
    "RatioPerVoltLimit",
    "RatioValue",
    "ResistanceLimit",
    "SecondsValue",
    "VoltageLimit",
    "VoltsRange",
    "VoltsValue",
    "fill",
    "meant",
    "nearest",
]


class Form(BaseModel):
    """Base of all forms: frozen, unknown keys refused, keys spelt with blanks."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        alias_generator=lambda name: name.rstrip("_").replace("_", " "),
        arbitrary_types_allowed=True,
    )

    @classmethod
    def keys(cls) -> tuple[str, ...]:
        """The keys that the form knows by name."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())


def _described(example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "description": f"such as '{example}'", "examples": [example]})


def _value(unit: str) -> BeforeValidator:
    return BeforeValidator(lambda text: float(parse_value(text, unit)))


def _ratio(text: object) -> float:
    return percent(str(text).removeprefix("±").removeprefix("+-").removeprefix("+/-"))


def _limit(unit: str) -> BeforeValidator:
    return BeforeValidator(lambda text: Limit.parse(text, unit))


def _range(text: object) -> Limit:
    limit = Limit.parse(text, "V")
    if limit.low is None or limit.high is None or limit.low < Decimal(0):
        raise LimitError(f"'{text}' is not a range of input magnitudes; write for example '19 V .. 26 V'")
    return limit


def _leads(text: object) -> Limit:
    limit = Limit.parse(text, "ohm")
    if limit.nominal is None or limit.nominal < 0:
        raise LimitError(f"'{text}' is no lead resistance; write for example '0.15 Ω ± 0.05 Ω'")
    return limit


VoltsValue = Annotated[float, _value("V"), _described("15 V")]
AmpsValue = Annotated[float, _value("A"), _described("150 mA")]
SecondsValue = Annotated[float, _value("s"), _described("5 s")]
OhmsValue = Annotated[float, _value("ohm"), _described("1 kΩ")]
FaradsValue = Annotated[float, _value("F"), _described("4700 µF")]
HertzValue = Annotated[float, _value("Hz"), _described("50 Hz")]
KelvinPerWattValue = Annotated[float, _value("K/W"), _described("3 K/W")]
RatioValue = Annotated[float, BeforeValidator(_ratio), _described("2 %")]
VoltageLimit = Annotated[Limit, _limit("V"), _described("15 V ± 1 %")]
CurrentLimit = Annotated[Limit, _limit("A"), _described("16 mA .. 20 mA")]
ResistanceLimit = Annotated[Limit, _limit("ohm"), _described("at least 1 kΩ")]
LeadsValue = Annotated[Limit, BeforeValidator(_leads), _described("0.15 Ω ± 0.05 Ω")]
PowerLimit = Annotated[Limit, _limit("W"), _described("at most 12 W")]
DecibelLimit = Annotated[Limit, _limit("dB"), _described("at least 60 dB")]
RatioLimit = Annotated[Limit, _limit("1"), _described("at most 0.5 %")]
RatioPerVoltLimit = Annotated[Limit, _limit("1/V"), _described("at most 0.1 %/V")]
VoltsRange = Annotated[Limit, BeforeValidator(_range), _described("19 V .. 26 V")]

AnyForm = TypeVar("AnyForm", bound=BaseModel)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return what to write instead of an unknown word: the nearest known one, or all of them."""
    choices = tuple(known)
    near = meant(word, choices)
    return f"write '{near}'" if near else f"write one of {', '.join(choices)}"


def meant(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that an unknown one was probably meant to be, or None."""
    return next(iter(difflib.get_close_matches(word, tuple(known), n=1, cutoff=0.6)), None)


def fill(
    form: type[AnyForm], data: object, document: Document, path: Path_, *, misspelt: Collection[str] = ()
) -> tuple[AnyForm | None, list[Problem]]:
    """Return the filled form, or None and everything that is wrong with the data at `path`.

    A key that is only misspelt (here, or in `misspelt` as it was meant) is not told as missing besides.
    """
    try:
        return form.model_validate(data), []
    except ValidationError as error:
        faults = error.errors()
    extras = [fault["loc"] for fault in faults if fault["type"] == "extra_forbidden"]
    spelt = {(*loc[:-1], meant(str(loc[-1]), _keys_at(form, loc[:-1]))) for loc in extras} | {
        (key,) for key in misspelt
    }
    told = [fault for fault in faults if fault["type"] != "missing" or fault["loc"] not in spelt]
    return None, [_problem(form, fault, document, path) for fault in told]


def _problem(form: type[BaseModel], fault: Any, document: Document, path: Path_) -> Problem:  # noqa: ANN401  pydantic's
    where: Path_ = (*path, *fault["loc"])
    key = str(where[-1]) if where else "the file"
    if where and isinstance(where[-1], int):
        key = f"entry {where[-1] + 1}"
    kind, context = fault["type"], fault.get("ctx", {})
    if kind == "missing":
        return document.problem(where[:-1], f"the key '{key}' is missing", f"write '{key}: ...' here")
    if kind == "extra_forbidden":
        known = _keys_at(form, fault["loc"][:-1])
        return document.problem(where, f"'{key}' is not a key known here", nearest(key, known))
    if kind == "value_error":
        what, instead = halves(context["error"])
        return document.problem(where, f"{key}: {what}", instead)
    if kind == "literal_error":
        return document.problem(where, f"{key}: '{fault['input']}' is not known", f"write {context['expected']}")
    what = f"{key}: {_written(document, where, fault['input'])!r} does not fit"
    return document.problem(where, what, f"note that {fault['msg'][:1].lower()}{fault['msg'][1:]}")


def _written(document: Document, where: Path_, read: object) -> object:
    """Return what stands at a path in the file, where `read` may be a number already; `read` where nothing does."""
    found: Any = document.data
    for step in where:
        entries = dict(enumerate(found)) if isinstance(found, list) else found
        if not isinstance(entries, dict) or step not in entries:
            return read
        found = entries[step]
    return found


def _keys_at(form: type[BaseModel], loc: tuple[str | int, ...]) -> tuple[str, ...]:
    """Return the keys known where an unknown one was found, by walking the form along the path."""
    current: type[BaseModel] = form
    for step in loc:
        fields = {field.alias or name: field.annotation for name, field in current.model_fields.items()}
        # a key beyond the fields names a terminal or trimmer, whose form the class says in __pydantic_extra__
        current = _inner(fields.get(str(step), current.__annotations__.get("__pydantic_extra__"))) or current
    return tuple(field.alias or name for name, field in current.model_fields.items())


def _inner(annotation: object) -> type[BaseModel] | None:
    """Return the form inside an annotation such as `dict[str, TerminalForm]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        if found := _inner(argument):
            return found
    return None
