"""Whether a frame may carry a fork, and what the fork does to its geometry."""
