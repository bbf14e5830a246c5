# Legwork as a container: SQLite in the volume /data, or PostgreSQL by LEGWORK_DATABASE_URL.
FROM python:3.11-slim

RUN pip install --no-cache-dir uv==0.13.9 && useradd --system --create-home --uid 10001 legwork && install -d -o legwork /data
WORKDIR /srv/legwork

# The dependencies first: they change less often than the program.
COPY pyproject.toml uv.lock README.md ./
RUN uv sync --frozen --no-dev --no-install-project --compile-bytecode

COPY app app
COPY migrations migrations
COPY seed_data seed_data
RUN uv sync --frozen --no-dev --compile-bytecode
RUN uv run --no-sync python -m compileall -q app migrations
RUN uv run --no-sync python -m app.web.representation.prepared

ENV PATH=/srv/legwork/.venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    LEGWORK_DATABASE_URL=sqlite:////data/legwork.db \
    LEGWORK_SHOP_DATABASE_URL=sqlite:////data/shop.db \
    LEGWORK_BACKUP_FOLDER=/data/backups
USER legwork
VOLUME /data
EXPOSE 8000
HEALTHCHECK --interval=10s --timeout=3s --start-period=10s \
    CMD python -c "import urllib.request; urllib.request.urlopen('http://127.0.0.1:8000/readyz', timeout=2)"
CMD ["legwork", "serve", "--host", "0.0.0.0"]
