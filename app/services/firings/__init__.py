"""Static tests and flights as they happened.

`firings` (the log), `findings` after failures, `media`, `logger_files` as they came, `curves` and `altimeters` read
from them, `firing_fits` made of them and kept. In: forms and files. Out: measured figures beside the predicted, and
fits that `learning` reads.
"""
