"""The bench view: one step a screen at arm's length, with the services of the cast session and of the grains."""
