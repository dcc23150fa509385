"""Exact geometry of a triangle soup.

In: a soup, and planes, points, lines. Out: sections as polygons, distances, ways widened among
triangles, rays.
"""
