"""Speak one dialect over one session: set, read back, compare, remember, and ask.

Every message that sets something is followed by a question on the same link before this returns, so nothing is still
on its way, and what stands in the instrument is known rather than hoped for. A setting that stands is not sent again.
Whatever goes wrong on the session makes everything remembered doubtful, so it is forgotten then.
"""

from collections.abc import Callable

from drivers.dialects.dialect import Dialect, InstrumentKind, Step
from drivers.dialects.wording import Value
from drivers.errors import SettingMismatch
from drivers.exchange import Exchange
from drivers.session import Session, understanding

__all__ = ["Conversation"]


class Conversation(Exchange):
    """One driver's talk with its instrument, and what it was set to."""

    def __init__(
        self, session: Session, dialect: Dialect, instrument: InstrumentKind, wait: Callable[[float], None]
    ) -> None:
        super().__init__(session, dialect, instrument, wait)
        self._stands: dict[tuple[Step, int], tuple[Value, Value]] = {}
        self._upsets = session.upsets

    def standing(self, step: Step, channel: int = 1) -> Value | None:
        """Return what was last set and read back, or None if that is unknown or in doubt."""
        self._doubt()
        remembered = self._stands.get((step, channel))
        return None if remembered is None else remembered[0]

    def keep(self, step: Step, value: Value, channel: int = 1) -> None:
        """Remember a value that the instrument can't be set to, as long as what it is set to is remembered."""
        self._doubt()
        self._stands[step, channel] = (value, value)

    def forget(self, *steps: Step, channel: int | None = None) -> None:
        """Stop believing that these settings (or all, if none is named) of a channel (or of all) still stand."""
        self._upsets = self.session.upsets
        self._stands = {
            (step, number): stands
            for (step, number), stands in self._stands.items()
            if (steps and step not in steps) or channel not in (None, number)
        }

    def _doubt(self) -> None:
        if self.session.upsets != self._upsets:
            self.forget()

    def put(self, step: Step, value: Value, channel: int = 1) -> Value:
        """Set something unless it stands already, and return what the instrument says it took.

        What can't be read back is taken as sent. Raises InstrumentError if the instrument complains, SettingMismatch
        if something else reads back, and what a session raises.
        """
        if self.standing(step, channel) == value:
            return self._stands[step, channel][1]
        self._stands.pop((step, channel), None)
        command = self.tell(step, channel, value)
        setting = self.dialect.settings[step]
        if setting.ask:
            stands = self.read_back(step, channel)
            if not setting.fits(value, stands):
                self._refuse(command, step, value, stands)
        else:
            stands = value
            self.confirm(command, channel)
        if setting.settle_seconds:
            self.wait(setting.settle_seconds)
        self._stands[step, channel] = (value, stands)
        return stands

    def read_back(self, step: Step, channel: int = 1) -> Value:
        """Ask the instrument what a setting is; raises BadReply if it does not say so in its form."""
        message = self.dialect.asking(step, channel)
        (reply,) = self.ask_all((message,), channel)
        with understanding(self.session.where(message)):
            return self.dialect.settings[step].parse(reply)

    def act(self, step: Step, channel: int = 1) -> None:
        """Do something that is no setting; raises InstrumentError if the instrument complains about it."""
        self.confirm(self.tell(step, channel), channel)

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
