"""The OpenAPI document, the problem types and the deprecations."""
