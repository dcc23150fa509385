"""What a mesh tells by itself.

In: a soup. Out: faults, thin walls, sheets, round tubes and openings.
"""
