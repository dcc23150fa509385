"""How functions are compiled to machine code, and kept.

In: a function on arrays and numbers. Out: the same, compiled when first called.
"""
