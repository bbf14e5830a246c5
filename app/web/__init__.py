"""How questions and answers travel: routes, representations, refusals and limits; no knowledge of forks."""
