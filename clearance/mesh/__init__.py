"""Mesh files.

In: an STL, PLY, OBJ, 3MF or STEP file. Out: a closed triangle soup in millimetres, or a refusal.
"""
