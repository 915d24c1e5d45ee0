"""The simulated bench's own small error family; its messages say what to write instead."""

__all__ = ["SimulatedError"]


class SimulatedError(Exception):
    """A simulated board or bench can't be made as described."""
