"""What is melted.

Bags of ingredients, formulas by version with their ideal state, batches and what was weighed into them.
"""
