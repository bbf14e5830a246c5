"""What is asked: one module per question; each reads rows at one revision and shapes an answer. Knows no web."""
