"""What may not be in the catalogue: rules, the shapes they see, the engine that judges; reads rows, writes nothing."""
