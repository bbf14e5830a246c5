"""The job card in parts: parameters and refusals, procedure, figures, steps, parts and tools, and a fleet list."""
