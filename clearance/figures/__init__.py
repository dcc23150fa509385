"""Paper: the only place besides plates.map that knows the plotting library.

In: what `drawing` holds. Out: figures and pages, the same bytes for the same input.
"""
