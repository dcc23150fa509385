"""Straight drilling.

In: crossings that a passage cannot spare. Out: plans checked again on the drilled part, or why
there is none.
"""
