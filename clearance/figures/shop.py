"""The page for the shop on paper.

In: `Shop`. Out: things drawn on pages of a `Flow`. Nothing is decided here.
"""

from __future__ import annotations

from clearance.drawing.shop import Shop
from clearance.figures.paper import Block, Flow, listing, table, text_strips

TITLE_PT = 10.5
HEADS = ("operation, tool", "where, how deep", "what comes loose, what to mind")
SHARES = (0.19, 0.44, 0.37)


def add_shop(flow: Flow, page: Shop | None) -> None:
    """Draw the page: facts, a row for each operation, what to mind."""
    if page is None:
        return
    flow.new_page("shop")
    flow.put_whole(Block("", tuple(text_strips(page.title, flow.wide, TITLE_PT, bold=True))))
    facts = "; ".join(f"{key}: {value}" for key, value in page.facts)
    flow.put_whole(Block("", tuple(text_strips(facts, flow.wide))))
    widths = [share * flow.wide for share in SHARES]
    flow.add(table("in their order", HEADS, page.operations, widths))
    flow.add(Block("take care", listing(page.notes, flow.wide)))
