"""The blend: ingredients, recipe, equilibrium and c*, burn laws, sticks in the open, the air it draws water from."""
