"""Which inspection could see what the event left, before anything is ordered.

In: a part that has been judged. Out: `Inspection`s: yes, ask or no, with numbers and set-up.
"""
