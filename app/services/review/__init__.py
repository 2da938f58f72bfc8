"""Looking back.

Lots, what motors delivered, whether ranges held, what goes together, the walk to the bag, tables out.
"""
