"""Beyond one machine: a primary and a streaming replica, an HTTP cache in front, a shared store for rates."""
