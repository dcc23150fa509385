"""Readings: what was measured on the part, against what an event would leave.

In: a prepared case, events, [[reading]] tables. Out: what each reading should be (`forward`), how
likely a set of readings is (`likelihood`), and an answer to each (`answer`).
"""
