"""What is melted.

`supplies` (bags), `formulas` by version with what follows from them, `blends` (kept equilibrium states), `batches`
(melts and what was weighed into them); `things` that are bought, `consumables`, `sizes` they are sold in, `deliveries`.
In: forms of bags and formulas. Out: rows, a blend's state and law, what is on the shelf, prices.
"""
