"""Pure calculation: SI in, SI out; imports nothing of the app but itself."""
