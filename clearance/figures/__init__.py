"""Paper: the only place besides the plate's pages that knows the plotting library.

In: what `drawing` holds. Out: figures and pages, the same bytes for the same input.
"""
