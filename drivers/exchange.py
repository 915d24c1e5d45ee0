"""Say one dialect's messages on one session, each to the channel it is for, and read the replies apart.

Where messages act on the channel that was selected before, none relies on an earlier one having selected it: anybody
may turn a knob. Selection and message go together in one line, and every reply says in the same line which channel is
selected; where one line holds one command, the selection is sent and read back before each.
"""

import logging
from collections.abc import Callable

from drivers.dialects.dialect import Dialect, InstrumentKind, Step
from drivers.dialects.wording import Value
from drivers.errors import InstrumentError, QueuedError, SettingMismatch, UnknownDialect, bad_reply
from drivers.session import Session, understanding

__all__ = ["Exchange"]

logger = logging.getLogger(__name__)

# Input buffers of bench instruments are small, about 100 characters on some: messages stay under 80.
_LONGEST_MESSAGE = 79


class Exchange:
    """What goes to one instrument and comes back; raises UnknownDialect if the dialect is another kind's."""

    def __init__(
        self, session: Session, dialect: Dialect, instrument: InstrumentKind, wait: Callable[[float], None]
    ) -> None:
        if dialect.instrument != instrument:
            raise UnknownDialect(
                session.where(),
                f"'{dialect.name}' is the dialect of a {dialect.instrument}, not of a {instrument}",
                f"write a {instrument}'s dialect in the bench file",
            )
        self.session = session
        self.dialect = dialect
        self.wait = wait
        self._selectable: set[int] = set()
        self._selectable_since = session.upsets
        session.adopt(dialect.manners, wait)

    def tell(self, step: Step, channel: int = 1, value: Value = "") -> str:
        """Send what sets or does something, to the right channel, and return it; a question has to follow."""
        command = self.dialect.command(step, channel, value)
        selecting = self._reach(channel)
        message = self.dialect.joined((*selecting, command)) if selecting else command
        self.session.write(message)
        return message

    def parting(self, step: Step, channel: int, value: Value) -> tuple[str, ...]:
        """Return the messages that set something and wait for nothing, for when there may be no reply any more."""
        command, selecting = self.dialect.command(step, channel, value), self.dialect.selecting(channel)
        if selecting is None:
            return (command,)
        messages = (selecting[0], command)
        return (self.dialect.joined(messages),) if self.dialect.joins_units else messages

    def ask_all(self, messages: tuple[str, ...], channel: int = 1) -> tuple[str, ...]:
        """Return the replies to several questions, in one message where that is allowed and short enough.

        A question that stands there twice is asked once. Raises SettingMismatch if another channel answered.
        """
        unique = tuple(dict.fromkeys(messages))
        answers = dict(zip(unique, self._replies(unique, channel), strict=True))
        return tuple(answers[message] for message in messages)

    def measured(self, steps: tuple[Step, ...], channel: int = 1) -> tuple[float, ...]:
        """Ask for measured values in one message if the dialect joins units; raises BadReply for what is no number."""
        messages = tuple(self.dialect.asking(step, channel) for step in steps)
        values = []
        for step, message, reply in zip(steps, messages, self.ask_all(messages, channel), strict=True):
            with understanding(self.session.where(message)):
                values.append(self.dialect.questions[step].parse(reply))
        return tuple(values)

    def _replies(self, messages: tuple[str, ...], channel: int) -> tuple[str, ...]:
        selecting = self._reach(channel)
        selection = self.dialect.selection
        which = (selection.ask,) if selection is not None and selecting else ()
        joined = self.dialect.joined((*selecting, *messages, *which))
        if len(messages) > 1 and (not self.dialect.joins_units or len(joined) > _LONGEST_MESSAGE):
            return tuple(self._replies((message,), channel)[0] for message in messages)
        asked = (*messages, *which)
        reply = self.session.query(joined)
        replies = tuple(part.strip() for part in reply.split(";")) if len(asked) > 1 else (reply,)
        if len(replies) != len(asked):
            self.session.doubt()
            raise bad_reply(
                self.session.where(joined), f"{len(replies)} answers came where {len(asked)} were asked for"
            )
        if which:
            self._check_selected(joined, replies[-1], channel)
        return replies[: len(messages)]

    def _reach(self, channel: int) -> tuple[str, ...]:
        """Return what has to stand before a message for a channel, after making sure that the channel can be selected.

        A selection that is refused does not stop the rest of its line everywhere, which would then reach another one.
        """
        selecting = self.dialect.selecting(channel)
        if selecting is None or self.dialect.selection is None:
            return ()
        if self._selectable_since != self.session.upsets:
            self._selectable.clear()
            self._selectable_since = self.session.upsets
        if self.dialect.joins_units and channel in self._selectable:
            return (selecting[0],)
        self.session.write(selecting[0])
        self._check_selected(selecting[0], self.session.query(self.dialect.selection.ask), channel)
        self._selectable.add(channel)
        return (selecting[0],) if self.dialect.joins_units else ()

    def _check_selected(self, message: str, reply: str, channel: int) -> None:
        selecting, selection = self.dialect.selecting(channel), self.dialect.selection
        if selecting is None or selection is None or selection.names(reply, selecting[1], channel):
            return
        self.session.doubt()
        self.check_errors(message)
        raise SettingMismatch(
            self.session.where(message),
            f"after '{message}' the channel selected is {reply}, not {selecting[1]}",
            "check the channels in the bench file, and that nobody works its front panel",
        )

    def confirm(self, command: str, channel: int) -> None:
        """Return once a command that nothing reads back has been carried out, and not been complained about."""
        if self.dialect.manners.error_query:
            self.check_errors(command)
        elif self.dialect.has_operation_complete:
            self.session.query("*OPC?")
        elif Step.MEASURED_VOLTS in self.dialect.questions:
            self.measured((Step.MEASURED_VOLTS,), channel)

    def discard_old_errors(self) -> None:
        """Empty the error queue of what is left from before, and log it, so that it is not taken for news."""
        for entry in self.session.drain_errors():
            logger.warning("%s: its error queue held %s from before", self.session.where(), entry)

    def check_errors(self, command: str) -> None:
        """Raise InstrumentError if the error queue holds anything after `command`."""
        entries = self.session.drain_errors()
        if entries:
            raise self.complaint(command, entries)

    def complaint(self, command: str, entries: tuple[QueuedError, ...]) -> InstrumentError:
        """Return what an instrument complained of after `command`; nothing counts as set from here on."""
        self.session.doubt()
        return InstrumentError(
            self.session.where(command),
            f"after '{command}' its error queue holds {', '.join(str(entry) for entry in entries)}",
            "look the number up in its manual; what was sent since the last check may not have been done",
            entries,
        )
