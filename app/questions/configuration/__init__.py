"""What a question is about: the configurations its parameters leave open, and which statements apply to them."""
