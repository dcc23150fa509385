"""The mouths of passages.

In: a soup and a disc roughly given. Out: `Mouth` with its closing surface, and the surface cut
open there.
"""
