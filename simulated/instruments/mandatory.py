"""The commands that IEEE 488.2 and SCPI-1999 ask of every instrument: `*` commands, SYSTem:ERRor, STATus."""

from collections.abc import Callable
from dataclasses import replace

from simulated.instruments.answers import joined, nr1
from simulated.instruments.parameters import Integer, Parameter
from simulated.instruments.status import RegisterSet, Status
from simulated.instruments.tree import Command, command

__all__ = ["mandatory_commands"]

Channels = tuple[int, ...]

_BYTE = Integer(0, 255)
_WORD = Integer(0, 65535)
_LONGEST_IDENTITY = 72  # 488.2 10.14


def mandatory_commands(
    identity: str,
    status: Status,
    reset: Callable[[], None],
    channels: Parameter[Channels],
    finish: Callable[[], None],
) -> list[Command]:
    """Return the commands over one instrument's status; `reset` restores its settings on *RST.

    `finish` returns when nothing is pending any more.

    ValueError if the identity is not four fields, comma between, 72 characters at most.
    """
    if identity.count(",") != 3 or ";" in identity or len(identity) > _LONGEST_IDENTITY or not identity.isprintable():
        raise ValueError(f"'{identity}' is no identity; write 'maker,model,serial,version' in up to 72 characters")
    return [
        *_common(identity, status, reset, finish),
        *_system(status),
        command("STATus:PRESet", status.preset),
        *_registers("OPERation", status.operation, channels),
        *_registers("QUEStionable", status.questionable, channels),
    ]


def _common(identity: str, status: Status, reset: Callable[[], None], finish: Callable[[], None]) -> list[Command]:
    def set_event_enable(value: int) -> None:
        status.event_enable = value

    def set_service_enable(value: int) -> None:
        status.service_enable = value & ~64  # bit 6 cannot be enabled (11.3.2)

    def complete() -> str:
        finish()
        return "1"

    def complete_operation() -> None:
        finish()
        status.complete_operation()

    return [
        command("*CLS", status.clear),
        command("*ESE", set_event_enable, _BYTE),
        command("*ESE?", lambda: nr1(status.event_enable)),
        command("*ESR?", lambda: nr1(status.read_events())),
        replace(command("*IDN?", lambda: identity), ends_message=True),
        command("*OPC", complete_operation),
        command("*OPC?", complete),
        command("*RST", reset),
        command("*SRE", set_service_enable, _BYTE),
        command("*SRE?", lambda: nr1(status.service_enable)),
        command("*STB?", lambda: nr1(status.byte())),
        command("*TST?", lambda: "0"),
        command("*WAI", finish),
    ]


def _system(status: Status) -> list[Command]:
    return [
        command("SYSTem:ERRor[:NEXT]?", status.next_error),
        command("SYSTem:ERRor:ALL?", status.all_errors),
        command("SYSTem:ERRor:COUNt?", lambda: nr1(status.error_count())),
        command("SYSTem:VERSion?", lambda: "1999.0"),
    ]


def _registers(name: str, sets: tuple[RegisterSet, ...], channels: Parameter[Channels]) -> list[Command]:
    def picked(which: Channels) -> list[RegisterSet]:
        return [sets[channel - 1] for channel in which]

    def mask(node: str, field: str) -> tuple[Command, Command]:
        def put(value: int, which: Channels) -> None:
            for registers in picked(which):
                setattr(registers, field, value & 0x7FFF)  # bit 15 reads 0 (S2 20.1.3)

        def get(which: Channels) -> str:
            return joined(nr1(getattr(registers, field)) for registers in picked(which))

        header = f"STATus:{name}:{node}"
        return command(header, put, _WORD, channels), command(f"{header}?", get, channels)

    def events(which: Channels) -> str:
        return joined(nr1(registers.read_event()) for registers in picked(which))

    def conditions(which: Channels) -> str:
        return joined(nr1(registers.condition) for registers in picked(which))

    return [
        command(f"STATus:{name}[:EVENt]?", events, channels),
        command(f"STATus:{name}:CONDition?", conditions, channels),
        *mask("ENABle", "enable"),
        *mask("PTRansition", "positive"),
        *mask("NTRansition", "negative"),
    ]
