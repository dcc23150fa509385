"""The part as the event left it.

In: the nominal part and what is known of the event. Out: `Event`s, and columns, sections and
surface of the predicted part.
"""
