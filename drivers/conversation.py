"""Speak one dialect over one session: set, read back, compare, remember, and ask.

Every message that sets something is followed by a question on the same link before this returns, so nothing is still
on its way, and what stands in the instrument is known rather than hoped for. A setting that stands is not sent again.
Whatever goes wrong on the session makes everything remembered doubtful, so it is forgotten then.
"""

import logging
from collections.abc import Callable

from drivers import scpi
from drivers.dialects.dialect import Dialect, InstrumentKind, Step, Value
from drivers.errors import InstrumentError, SettingMismatch, UnknownDialect, bad_reply
from drivers.session import Session, understanding

__all__ = ["Conversation"]

logger = logging.getLogger(__name__)

# Input buffers of bench instruments are small, about 100 characters on some: messages stay under 80.
_LONGEST_MESSAGE = 79


class Conversation:
    """One driver's talk with its instrument; raises UnknownDialect if the dialect is another kind's."""

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
        self._stands: dict[tuple[Step, int], tuple[Value, Value]] = {}
        self._upsets = session.upsets
        session.adopt(dialect.manners, wait)

    def standing(self, step: Step, channel: int = 1) -> Value | None:
        """Return what was last set and read back, or None if that is unknown or in doubt."""
        if self.session.upsets != self._upsets:
            self.forget()
        remembered = self._stands.get((step, channel))
        return None if remembered is None else remembered[0]

    def forget(self, *steps: Step, channel: int | None = None) -> None:
        """Stop believing that these settings (or all, if none is named) of a channel (or of all) still stand."""
        self._upsets = self.session.upsets
        self._stands = {
            (step, number): stands
            for (step, number), stands in self._stands.items()
            if (steps and step not in steps) or channel not in (None, number)
        }

    def put(self, step: Step, value: Value, channel: int = 1) -> Value:
        """Set something unless it stands already, and return what the instrument says it took.

        Raises InstrumentError if it complains, SettingMismatch if something else reads back, and what a session raises.
        """
        if self.standing(step, channel) == value:
            return self._stands[step, channel][1]
        self._stands.pop((step, channel), None)
        command = self.dialect.command(step, channel, value)
        self.session.write(command)
        stands = self.read_back(step, channel)
        setting = self.dialect.settings[step]
        if not setting.fits(value, stands):
            self._refuse(command, step, value, stands)
        if setting.settle_seconds:
            self.wait(setting.settle_seconds)
        self._stands[step, channel] = (value, stands)
        return stands

    def read_back(self, step: Step, channel: int = 1) -> Value:
        """Ask the instrument what a setting is; raises BadReply if it does not say so in its form."""
        message = self.dialect.asking(step, channel)
        reply = self.session.query(message)
        with understanding(self.session.where(message)):
            return self.dialect.settings[step].parse(reply)

    def act(self, step: Step, channel: int = 1) -> None:
        """Do something that is no setting; raises InstrumentError if the instrument complains about it."""
        command = self.dialect.command(step, channel)
        self.session.write(command)
        if self.dialect.manners.has_error_queue:
            self.check_errors(command)
        elif self.dialect.has_operation_complete:
            self.session.query("*OPC?")

    def measured(self, steps: tuple[Step, ...], channel: int = 1) -> tuple[float, ...]:
        """Ask for measured values in one message if the dialect joins units; raises BadReply for what is no number."""
        messages = tuple(self.dialect.asking(step, channel) for step in steps)
        values = []
        for step, message, reply in zip(steps, messages, self.ask_all(messages), strict=True):
            with understanding(self.session.where(message)):
                values.append(scpi.parse_number(reply, self.dialect.questions[step].unit))
        return tuple(values)

    def ask_all(self, messages: tuple[str, ...]) -> tuple[str, ...]:
        """Return the replies to several questions, in one message where that is allowed and short enough."""
        joined = ";:".join(messages)  # `:` starts from the root, whatever the unit before it left as current node
        if len(messages) < 2 or not self.dialect.joins_units or len(joined) > _LONGEST_MESSAGE:
            return tuple(self.session.query(message) for message in messages)
        replies = tuple(reply.strip() for reply in self.session.query(joined).split(";"))
        if len(replies) != len(messages):
            self.forget()
            raise bad_reply(
                self.session.where(joined), f"{len(replies)} answers came where {len(messages)} were asked for"
            )
        return replies

    def discard_old_errors(self) -> None:
        """Empty the error queue of what is left from before, and log it, so that it is not taken for news."""
        for entry in self.session.drain_errors():
            logger.warning("%s: its error queue held %s from before", self.session.where(), entry)

    def check_errors(self, command: str) -> None:
        """Raise InstrumentError if the error queue holds anything after `command`."""
        entries = self.session.drain_errors()
        if entries:
            self.forget()
            raise InstrumentError(
                self.session.where(command),
                f"after '{command}' its error queue holds {', '.join(str(entry) for entry in entries)}",
                "look the number up in its manual; what was sent since the last check may not have been done",
                entries,
            )

    def _refuse(self, command: str, step: Step, value: Value, stands: Value) -> None:
        """Raise what explains best why a setting did not take: the instrument's own complaint, else the mismatch."""
        self.forget()
        self.check_errors(command)
        unit = self.dialect.settings[step].unit
        raise SettingMismatch(
            self.session.where(command),
            f"after '{command}' its {step} reads back as {stands} {unit}".rstrip() + f", not {value} {unit}".rstrip(),
            "check its limits and ranges, and that nobody works its front panel",
        )
