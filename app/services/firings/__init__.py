"""Static tests and flights.

The log, pictures, loggers' files read into curves and tracks, and the fits made of them.
"""
