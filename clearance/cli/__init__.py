"""The command line.

In: arguments. Out: files, words, exit status.
"""
