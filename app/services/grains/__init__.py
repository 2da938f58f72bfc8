"""Grains from the scale to the shelf.

Weighed, decided on, bagged, labelled, weighed again, matched; lots; what is taken back.
"""
