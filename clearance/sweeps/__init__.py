"""The verdict at every height.

In: a case and what is asked. Out: states, brackets and drills over height, margins.
"""
