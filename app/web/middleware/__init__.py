"""Middleware for every request: one ASGI class per file. `app.main` adds them, outermost first."""
