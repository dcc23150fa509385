"""Many parts at once.

In: a `Plate`. Out: a folder with a result and a sheet for each part, the table and the map.
"""
