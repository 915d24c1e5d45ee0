"""Check the names that people type, for boards and for themselves, before they go into files, pages and tables."""

import re

from station.errors import InputError

__all__ = ["check_operator", "check_serial", "file_name"]

# A letter or digit comes first: a name that begins with = + - or @ is a formula to a spreadsheet, one with . is hidden.
_SERIAL = re.compile(r"\w(?:[\w .,()#+-]{0,62}[\w)#+])?")
_NOT_IN_A_FILE_NAME = re.compile(r"[^\w .,()#+-]|^\W")


def check_serial(serial: str) -> None:
    """Raise InputError for what is no serial number."""
    if not _SERIAL.fullmatch(serial):
        what = f"'{serial[:64]}' is not a serial number"
        instead = (
            "write 1 to 64 letters, digits, dashes or dots, a letter or digit first, no slashes, no blank at an end"
        )
        raise InputError.about(what, instead)


def check_operator(name: str) -> None:
    """Raise InputError for what is nobody's name; nobody at all is fine."""
    usable = name == name.strip() and len(name) <= 64 and name.isprintable()
    if name and not (usable and re.match(r"\w", name)):
        what = f"'{name[:64]}' is not an operator's name"
        raise InputError.about(what, "write at most 64 letters, a letter first, no blank at an end")


def file_name(serial: str, suffix: str) -> str:
    """Return the name of a file about a board, in one folder whatever its record says its serial is."""
    return (_NOT_IN_A_FILE_NAME.sub("_", serial)[:100] or "_") + suffix
