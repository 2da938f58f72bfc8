"""Estimated flights as a part of other rooms' pages, and distances."""
