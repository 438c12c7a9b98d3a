"""Every operation of REST by area, with what it answers to every role."""
