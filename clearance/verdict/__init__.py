"""From a case to the state of each passage.

In: a `Case`. Out: prepared windows, a state per passage, circuits apart or not, a second opinion.
"""
