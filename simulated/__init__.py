"""A simulated bench: a board that is a real circuit, and SCPI instruments wired to it over TCP.

This room knows physics, not profiles, and imports neither station nor drivers: drivers and
simulated instruments meet on the wire only, so that a misread reply cannot hide in shared code.
"""
