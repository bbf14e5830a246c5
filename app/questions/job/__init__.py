"""The job card in parts: what is asked and refused, branches, figures, steps, what to buy and lay out, a fleet."""
