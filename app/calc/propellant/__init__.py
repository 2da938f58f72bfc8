"""The blend: ingredients, recipe, equilibrium and c*, burn laws, sticks in the open, the air it draws water from.

In: mass fractions, pressure, temperature. Out: density, state of the products, rate with its spread.
"""
