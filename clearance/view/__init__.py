"""A page to turn in the hand: the part with its passages, as one file that opens in any browser.

In: an `Examined`. Out: an HTML page that asks nothing of any address, or a glTF 2.0 file.
"""
