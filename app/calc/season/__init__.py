"""From wished flights to a winter's casting.

In: designs as arrays with their limits, counts of grains with their dates, evenings and pans.
Out: which designs fly and why the others do not, how many grains to cast, on which evening each melt is.
"""
