"""The numbered errors an instrument puts into its SCPI error queue, and their texts.

SCPI-1999 Vol. 2, chapter 21.8. `ScpiError` never leaves the instrument: whoever runs a message queues it.
"""

__all__ = ["ERROR_TEXTS", "ScpiError"]

ERROR_TEXTS = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -214: "Trigger deadlock",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -440: "Query UNTERMINATED after indefinite response",
}

_LONGEST_TEXT = 255  # S2 21.8.2: number and quotes not counted


class ScpiError(Exception):
    """A message unit was refused with `code`; `detail` tells what was found, for the queue's text."""

    def __init__(self, code: int, detail: str = "") -> None:
        super().__init__(code, detail)
        self.code = code
        self.detail = detail

    @property
    def is_command_error(self) -> bool:
        """True when the message could not be understood, rather than not be carried out."""
        return -199 <= self.code <= -100

    @property
    def event_bit(self) -> int:
        """The bit of the standard event register that this error sets (IEEE 488.2 11.5.1)."""
        return {1: 32, 2: 16, 3: 8, 4: 4}[-self.code // 100]

    def entry(self) -> str:
        """Return the line that `SYSTem:ERRor?` answers."""
        text = ERROR_TEXTS[self.code]
        if self.detail:
            # A quote or a control character inside the text would break the answer for the reader.
            clean = "".join(c if " " <= c <= "~" else "?" for c in self.detail).replace('"', "'")
            text = f"{text};{clean}"[:_LONGEST_TEXT]
        return f'{self.code},"{text}"'
