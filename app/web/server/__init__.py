"""The HTTP server: uvicorn with time limits on every connection."""
