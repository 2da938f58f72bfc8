"""What a record says of the propellant: fits of pressure and of thrust, a law of one's own, all firings together."""
