"""The finished shape: whether what is left after machining still lies in the metal.

In: the prepared case, with the mesh of the finished shape. Out: the least stock on its machined
faces, where stock lacks, and what has moved, for each datum that the part may be clamped by.
"""
