"""What firings teach: their kept fits, put together into factors for the next prediction, and the pages that show it.

Fits are made in `firings`; here they are read. Which prediction counts for a firing is told in `stored_predictions`.
"""
