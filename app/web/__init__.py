"""The web layer: routes, representations, problems and limits. It knows nothing about forks."""
