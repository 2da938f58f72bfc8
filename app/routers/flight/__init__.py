"""Estimated flights on other rooms' pages."""
