"""Each form of an answer can be asked for by suffix, by `format=` and by Accept, and is the same bytes each time."""

from pathlib import Path

import httpx
import pytest

from app.access import keys
from app.database.connections import Database
from tests.api.recording import ids_of, with_ids
from tests.api.test_not_modified import ACCEPTS, addresses
from tests.api.writing import writing

pytestmark = pytest.mark.anyio
ONE_FORM = {"/healthz", "/readyz"}
"""For probes: JSON at one address, without parameters."""


async def test_each_form_has_its_suffix_its_parameter_and_its_media_type(demo: Database, tmp_path: Path) -> None:
    tried = 0
    async with writing(demo, tmp_path) as service:
        key = {"Authorization": f"Bearer {keys.add(service.shop, 'all', ['edit', 'bench', 'read']).token}"}
        transport = httpx.ASGITransport(service.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test", headers=key) as client:
            ids = await ids_of(client, key)
            for address, forms in addresses(service):
                path, mark, query = with_ids(address, ids).partition("?")
                for form in [] if path in ONE_FORM else forms:
                    asked = [f"{path}?{query}{'&' if mark else ''}format={form}"]
                    asked += [f"{path}.{form}{mark}{query}"] if path != "/" else []
                    for spelling in asked:
                        answer = await client.get(spelling)
                        assert answer.status_code == 200, (spelling, answer.text)
                        assert answer.headers["content-type"].startswith(ACCEPTS[form]), spelling
                        tried += 1
    assert tried > 300, tried
