"""Ways through the predicted part.

In: the predicted part and mouths. Out: crossings, and a `Way` with the bracket of its clear
diameter.
"""
