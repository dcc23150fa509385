"""The part as measured: a scan laid on the nominal part, and its passages judged on measured metal.

In: a closed mesh of the scanned part, the prepared case. Out: where it lies, what has moved above
the event, brackets and states of the passages in the measured metal. Numbers only.
"""
