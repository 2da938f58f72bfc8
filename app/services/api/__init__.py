"""The compute API's verbs: the pages' calculations on numbers instead of rows. Nothing is stored."""
