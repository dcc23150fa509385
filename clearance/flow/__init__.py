"""Pressure loss.

In: areas, lengths and bends of a way. Out: kPa with its bounds.
"""
