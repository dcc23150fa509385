"""What the machine gives: files, processes, attributes made once.

In: bytes and jobs. Out: files written whole or not at all, outcomes of processes.
"""
