"""Motors designed and built: whether the parts go together, what the motor is expected to do, off-centre cores."""
