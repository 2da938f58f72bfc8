"""From wished flights to a winter's casting.

Every design that a workshop's hardware allows is screened, marched, flown, ranged and ranked (`choosing`). What to cast
for wanted flights, in which melts on which evenings, and what stands in the way (`casting`, `obstacles`).
In: cases, nozzles, drills, formulas, patterns, a rocket and a field; counts of grains with their dates, evenings and
pans. Out: which designs fly, and why the others do not with the nearest change that would lift it; how many grains to
cast, on which evening each melt is. Nothing here says that a motor is safe.
"""
