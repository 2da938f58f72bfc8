"""What a stand and an altimeter wrote: text to columns, load cell, pulses, curve, reduction, track."""
