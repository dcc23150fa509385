"""A photograph of a melted layer, against every slice of the parts that stand there.

In: a picture, points that are known in it, a case or plate file. Out: which slices it can be.
"""
