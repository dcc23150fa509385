"""Causes: which event explains what was measured, and what to measure next.

In: suspects, readings with their predictions, and the check. Out: classes of suspects with their
likelihood ratios, states and recommendations, and a ranked list of measurements.
"""
