"""Run a board's test profile: profile, program, record, judgement, outcome, report.

This room knows asks, not sockets.
"""
