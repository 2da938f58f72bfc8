"""From a plan to an evening at the pan.

What it needs, melts that fit, checklist and gate, session, steps, weighing out.

Hot work is opened and refused here, and by triggers of the same rule in `app.book.guards`.
"""
