"""The parts that answers share: parameters, views of rows, open choices, cautions and cursors."""
