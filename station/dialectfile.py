"""Read a dialect from a file of one's own, and find the one that a bench file names: one that ships, or a path.

A file says what differs from a dialect that ships (`like: channel list`), or all of it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from drivers import Dialect, InstrumentKind, dialect, dialect_names
from drivers.dialects import Bit, Question, Regulation, Selection, Setting, Step
from drivers.link import Manners
from station.dialectforms import ENDS, FOR_ALL, MEASURED, SETTINGS, BitForm, DialectForm, SettingForm, TalkForm
from station.document import Path_, parse_document, read_text
from station.errors import InputError, halves
from station.forms import fill, nearest
from station.quantities import parse_value

__all__ = ["dialect_faults", "load_dialect", "own_dialect", "parse_dialect", "placed", "spoken"]

SUFFIX = ".yaml"
Found = tuple[Path_, str, str]


def spoken(name: str) -> Dialect:
    """Return the dialect of that name, or in the file at that path; InputError or drivers.UnknownDialect."""
    path = own_dialect(name)
    return dialect(name) if path is None else load_dialect(path)


def own_dialect(name: str) -> Path | None:
    """Return the file that a dialect's name is, None where it is one that ships."""
    return Path(name) if name.endswith(SUFFIX) else None


def placed(name: str, folder: Path) -> str:
    """Return a dialect as a bench file in `folder` means it: a path is one from there."""
    return str((folder / name).resolve()) if name.endswith(SUFFIX) else name


def load_dialect(path: Path) -> Dialect:
    """Return the dialect in a file; InputError holds all that is wrong with it."""
    return parse_dialect(read_text(path), str(path))


def parse_dialect(text: str, file: str) -> Dialect:
    """Return the dialect in a text; InputError holds all that is wrong with it."""
    document = parse_document(text, file)
    form, problems = fill(DialectForm, document.data, document, ())
    if form is not None:
        problems = [document.problem(*found) for found in _faults(form)]
    if form is None or problems:
        raise InputError(problems)
    try:
        return _made(form)
    except ValueError as error:
        raise InputError([document.problem((), *halves(error))]) from error


def _faults(form: DialectForm) -> Iterator[Found]:
    """Yield what is wrong with a form beyond its keys: words for what there is not, places that lead nowhere."""
    kind = form.for_
    base = _base(form)
    if form.like is not None and (base is None or base.instrument != kind):
        fitting = [name for name in dialect_names() if dialect(name).instrument == kind]
        yield ("like",), f"'{form.like}' is not a dialect of a {kind} that ships", nearest(form.like, fitting)
        return
    if kind in ("meter", "scanner") and base is None:
        yield (), f"a {kind}'s dialect starts from one that ships", f"write 'like: {kind}', and below it what differs"
        return
    known = _known_settings(form)
    for name, setting in form.settings.items():
        where: Path_ = ("settings", name)
        if name not in known:
            yield where, f"'{name}' is not something that is set on a {kind}", nearest(name, known)
        elif (base is None or name not in base.settings) and setting.send is None:
            yield where, f"how the {name} is set is missing", "write 'send: ...' here"
        elif setting.resolution is not None:
            yield from (((*where, "resolution"), *fault) for fault in _unit_faults(setting.resolution, known[name]))
    yield from _place_faults(form)


def _unit_faults(text: str, unit: str) -> Iterator[tuple[str, str]]:
    try:
        parse_value(text, unit or "1")
    except ValueError as error:
        yield halves(error)


def _known_settings(form: DialectForm) -> dict[str, str]:
    """Return the unit of everything that can be set, by its name."""
    base = _base(form)
    of_base = {str(step): setting.unit for step, setting in (base.settings if base else {}).items()}
    return {**of_base, **{str(step): unit for step, (_, unit) in SETTINGS.get(form.for_, {}).items()}}


def _place_faults(form: DialectForm) -> Iterator[Found]:
    """Yield templates that name no channel where nothing else says which one is meant."""
    base = _base(form)
    selects = form.select is not None or (base is not None and base.selection is not None)
    one = form.channels == "one" or (form.channels is None and base is not None and base.one_channel)
    if selects or one or form.for_ in ("meter", "scanner"):
        return
    shared = form.common_switch or (base.common_switch if base else 0)
    for where, template in _templates(form):
        for_all = where[1] in FOR_ALL or (shared and where[1] == Step.OUTPUT)
        if not for_all and "{channel}" not in template and "{name}" not in template:
            instead = "write {channel} or {name} where it belongs, or 'channels: one', or how one is selected"
            yield where, f"'{template}' names no channel", instead


def _templates(form: DialectForm) -> Iterator[tuple[tuple[str, str, str], str]]:
    for name, setting in form.settings.items():
        said = (("send", setting.send), ("ask", setting.ask))
        yield from ((("settings", name, key), text) for key, text in said if text)
    yield from ((("measured", quantity, "ask"), question.ask) for quantity, question in form.measured.items())


def _base(form: DialectForm) -> Dialect | None:
    return dialect(form.like) if form.like in dialect_names() else None


def _made(form: DialectForm) -> Dialect:
    """Return the dialect of a form without faults; raises ValueError where its parts do not make one."""
    base = _base(form)
    settings = dict(base.settings) if base else {}
    for name, given in form.settings.items():
        settings[Step(name)] = _setting(form, Step(name), given, settings.get(Step(name)))
    questions = dict(base.questions) if base else {}
    for quantity, asked in form.measured.items():
        step, unit = MEASURED[quantity]
        questions[step] = Question(asked.ask, unit, asked.place)
    actions = dict(base.actions) if base else {}
    if form.clear_trips is not None:
        actions[Step.CLEAR_TRIPS] = form.clear_trips
    changed: dict[str, Any] = {
        "name": form.dialect,
        "settings": MappingProxyType(settings),
        "questions": MappingProxyType(questions),
        "actions": MappingProxyType(actions),
        "manners": _manners(form.talk, base.manners if base else Manners()),
        **_further(form),
    }
    if base is not None:
        return replace(base, **changed)
    if form.for_ == "supply":
        changed.setdefault("regulation", Regulation(None, None))
    return Dialect(instrument=form.for_, **changed)


def _setting(form: DialectForm, step: Step, given: SettingForm, before: Setting | None) -> Setting:
    if before is None:
        wire_form, unit = SETTINGS[form.for_][step]
        before = Setting(given.send or "", given.ask or "", form=wire_form, unit=unit)
    on, off = before.words
    changed: dict[str, Any] = {
        "send": given.send,
        "ask": given.ask,
        "resolution": None if given.resolution is None else float(parse_value(given.resolution, before.unit or "1")),
        "settle_seconds": given.settles_in,
        "decimals": given.decimals,
        "words": (given.on or on, given.off or off),
    }
    return replace(before, **{key: value for key, value in changed.items() if value is not None})


def _bit(form: BitForm | None) -> Bit | None:
    return None if form is None else form.made()


def _further(form: DialectForm) -> dict[str, Any]:
    """Return what the form says besides words, as far as it says anything."""
    status, select = form.status, form.select
    regulation = status and Regulation(
        _bit(status.constant_voltage),
        _bit(status.constant_current),
        tuple((name, bit.made()) for name, bit in status.trips.items()),
    )
    said = {
        "regulation": regulation,
        "selection": select and Selection(select.send, select.ask, tuple(select.answers)),
        "one_channel": None if form.channels is None else form.channels == "one",
        "channel_names": None if form.channel_names is None else tuple(form.channel_names),
        "common_switch": form.common_switch,
        "joins_units": form.joins,
        "has_operation_complete": form.operation_complete,
    }
    return {key: value for key, value in said.items() if value is not None}


def _manners(form: TalkForm, before: Manners) -> Manners:
    said = {
        "gap_seconds": form.gap,
        "query_delay_seconds": form.before_reply,
        "first_reply_seconds": form.first_reply,
        "error_query": form.errors,
        "remote": form.remote,
        "local": form.local,
        "acknowledgement": form.acknowledges,
        "termination": None if form.ends is None else ENDS[form.ends],
        "identity_in_fields": None if form.identity is None else form.identity == "four fields",
    }
    given: dict[str, Any] = {key: value for key, value in said.items() if value is not None}
    return replace(before, **given)


def dialect_faults(
    name: str, kind: InstrumentKind, channels: Iterable[int], *, unprotected: bool
) -> Iterator[tuple[str, str]]:
    """Yield what keeps an instrument of this kind from being spoken to in a dialect, and what to write.

    What is wrong in a dialect's own file is told with its place there.
    """
    fitting = [each for each in dialect_names() if dialect(each).instrument == kind]
    try:
        words = spoken(name) if name in dialect_names() or name.endswith(SUFFIX) else None
    except InputError as error:
        yield from ((f"'{Path(name).name}' can't be spoken", str(problem)) for problem in error.problems)
        return
    if words is None or words.instrument != kind:
        yield f"'{name}' is not a dialect of a {kind}", nearest(name, fitting)
        return
    if words.lacking and not unprotected:
        what = f"a supply that speaks '{words.name}' has no {' and no '.join(words.lacking)}"
        instead = "use one that has them, or write 'unprotected: true' beside it: only the station then ends a fault"
        yield what, instead
    for channel in channels:
        try:
            words.command(Step.INPUT if kind == "load" else Step.OUTPUT, channel, False)
        except ValueError as error:
            yield halves(error)
