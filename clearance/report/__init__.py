"""Results in words and JSON.

In: a result. Out: text of the terminal, keys of the files.
"""
