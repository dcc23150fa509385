"""The recommendation.

In: what is known of the part, and what is required. Out: use as is, rework, repair or scrap, with
reasons and the work sequence.
"""
