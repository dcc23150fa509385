"""Mesh files.

In: an STL, PLY, OBJ or 3MF file. Out: a closed triangle soup in millimetres, or a refusal.
"""
