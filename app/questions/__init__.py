"""The questions that users ask: one module each, which reads rows at one revision and shapes an answer.

Knows no web.
"""
