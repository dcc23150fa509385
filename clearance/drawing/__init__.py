"""What is to be shown, as data.

In: a result and the prepared part. Out: level sections, curves, drill sections, the words and
numbers of a sheet.
"""
