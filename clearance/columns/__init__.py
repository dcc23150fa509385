"""A soup as columns of metal.

In: a soup and a grid in plan. Out: runs of metal per column, what is surely metal or possibly
void, cells.
"""
