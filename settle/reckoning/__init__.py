"""What is true on paper: the arithmetic, without I/O, clock, random numbers or a framework."""
