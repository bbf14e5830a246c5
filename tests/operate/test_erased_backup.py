"""A backup made after a fork is erased has no byte of its serial; one made before still has it: none is ever
rewritten."""

import subprocess
from pathlib import Path

import pytest

from app.database.connections import Database
from app.operating.backup import take
from tests.bench.working import NOTE, SERIAL, benches

pytestmark = pytest.mark.anyio


async def test_a_backup_after_an_erasure_has_no_byte_of_the_fork(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        gone = await bench.register()
        await bench.register(serial="KEPT-0001")
        for number in range(20):
            await bench.record(gone, "lower-leg-service", hours=number, note=f"{NOTE} {number}")
        take(demo, bench.service.shop, tmp_path / "before")
        assert (await bench("DELETE", f"/v1/forks/{gone}")).status_code == 200
        take(demo, bench.service.shop, tmp_path / "after")
    before, after = contents(tmp_path / "before"), contents(tmp_path / "after")
    assert SERIAL.encode() in before
    assert NOTE.encode() in before
    assert SERIAL.encode() not in after
    assert NOTE.encode() not in after
    assert b"KEPT-0001" in after


def contents(backup: Path) -> bytes:
    """All bytes of a backup; a compressed dump is converted to its SQL."""
    parts = [file.read_bytes() for file in sorted(backup.iterdir())]
    for dump in backup.glob("*.dump"):
        parts.append(subprocess.run(["pg_restore", "--file=-", str(dump)], capture_output=True, check=True).stdout)
    return b"".join(parts)
