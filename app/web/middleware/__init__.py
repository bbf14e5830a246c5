"""What happens to every request, whichever route answers it; one pure ASGI class per file, outermost first in main."""
