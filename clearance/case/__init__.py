"""The case and plate files.

In: TOML files, machine logs. Out: `Case` and `Plate`, or all their faults at once.
"""
