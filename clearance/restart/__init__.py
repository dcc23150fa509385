"""Before the button is pressed: the layer that belongs there, and what wrong ones would do.

In: a case or a plate file, the last good layer. Out: `Card`: outlines, areas, states.
"""
