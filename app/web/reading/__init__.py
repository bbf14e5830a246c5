"""Reading requests strictly: query parameters, JSON bodies and forms."""
