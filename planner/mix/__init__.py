"""Tank and hopper maths: water, product, loads and what is left over; it reads no file, clock or weather."""
