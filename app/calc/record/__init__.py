"""What a stand and an altimeter wrote: text to columns, load cell, curve, pulses, track."""
