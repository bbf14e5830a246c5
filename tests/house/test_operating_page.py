"""The files on the operating page work: each is taken from the page and run as far as that is possible without a
container or its own service manager."""

import configparser
import json
import os
import re
import shutil
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml

from app.settings import Settings
from tests.house.dockerfile import lines
from tests.replicas.servers import free_port

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "app" / "operating" / "README.md").read_text()
DOCKERFILE = lines((ROOT / "Dockerfile").read_text())
LEGWORK = Path(sys.executable).parent / "legwork"


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```", PAGE, re.S | re.M)


def file(name: str) -> str:
    """The block after a file's name."""
    return re.findall(rf"`{re.escape(name)}`:\n\n```ini\n(.*?)^```", PAGE, re.S | re.M)[0]


def from_page(environment: dict[str, str]) -> dict[str, str]:
    """This environment without our settings, plus those of the page."""
    return {**{name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}, **environment}


@contextmanager
def running(command: list[str], environment: dict[str, str], folder: Path) -> Iterator[httpx.Client]:
    """A service started by that command on a free port, once it answers."""
    port = free_port()
    with (folder / "log").open("w+") as log:
        environment = from_page({**environment, "LEGWORK_PORT": str(port)})
        with subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log) as process:
            with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=10) as client:
                until = time.monotonic() + 60
                while True:
                    assert process.poll() is None, (folder / "log").read_text()
                    assert time.monotonic() < until, (folder / "log").read_text()
                    try:
                        client.get("/healthz")
                        break
                    except httpx.TransportError:
                        time.sleep(0.1)
                yield client
            process.terminate()
            assert process.wait(20) == 0


def test_the_compose_file_fits_the_dockerfile_and_its_service_answers(tmp_path: Path) -> None:
    (text,) = blocks("yaml")
    assert len(text.splitlines()) <= 10
    compose = yaml.safe_load(text)
    (service,) = compose["services"].values()
    said: dict[str, list[str]] = {}
    for word, rest in DOCKERFILE:
        said.setdefault(word, []).append(rest)
    assert (ROOT / service["build"] / "Dockerfile").exists()
    assert [port.rpartition(":")[2] for port in service["ports"]] == said["EXPOSE"]
    (volume,) = service["volumes"]
    assert volume.rpartition(":")[::2] == (*compose["volumes"], *said["VOLUME"])
    assert {name.removeprefix("LEGWORK_").lower() for name in service["environment"]} <= Settings.model_fields.keys()
    image = dict(pair.split("=", 1) for pair in re.findall(r"LEGWORK_\S+", said["ENV"][0]))
    in_folder = {name: value.replace("/data", str(tmp_path)) for name, value in image.items()}
    command = json.loads(said["CMD"][0])
    command[0] = str(LEGWORK)
    with running(command, {**in_folder, **service["environment"]}, tmp_path) as client:
        assert client.get("/readyz").status_code == 200  # the image's own health check requests 127.0.0.1
        for host in service["environment"]["LEGWORK_ALLOWED_HOSTS"].split(","):
            assert client.get("/readyz", headers={"Host": f"{host}:8000"}).status_code == 200
        assert client.get("/readyz", headers={"Host": "elsewhere.test"}).status_code == 400
    assert {"legwork.db", "shop.db"} <= {path.name for path in tmp_path.iterdir()}


def moved(text: str, folder: Path) -> str:
    """A file of the page with its folders moved below one of the test's."""
    text = text.replace("/srv/legwork/.venv/bin/legwork", str(LEGWORK)).replace("/srv/legwork", str(folder))
    return text.replace("/var/lib/legwork", str(folder / "state")).replace("/etc/", f"{folder}/")


def environment_of(folder: Path) -> dict[str, str]:
    text = moved(file("/etc/legwork.env"), folder)
    found = dict(line.split("=", 1) for line in text.splitlines())
    assert {name.removeprefix("LEGWORK_").lower() for name in found} <= Settings.model_fields.keys()
    return found


UNITS = ("legwork.service", "legwork-backup.service", "legwork-backup.timer")


def test_the_units_are_well_formed_and_understood_by_systemd(tmp_path: Path) -> None:
    """systemd.unit(5). If the machine has no systemd, only the form is checked."""
    program = shutil.which("systemd-analyze")
    for name in UNITS:
        text = moved(file(f"/etc/systemd/system/{name}"), tmp_path)
        (tmp_path / name).write_text(text)
        unit = configparser.ConfigParser(strict=False, interpolation=None, delimiters="=")
        unit.read_string(text)
        assert unit["Unit"]["Description"]
        assert set(unit.sections()) <= {"Unit", "Service", "Timer", "Install"}
        assert unit.has_section("Install") is not name.startswith("legwork-backup.s")  # a timer starts it
    (tmp_path / "legwork.env").write_text(file("/etc/legwork.env"))
    if program is None:
        return
    done = subprocess.run(
        [program, "verify", "--man=no", *(str(tmp_path / name) for name in UNITS)], capture_output=True, text=True
    )
    ours = [line for line in done.stderr.splitlines() if "legwork" in line]
    assert ours == [], done.stderr


def commands(name: str, folder: Path) -> list[list[str]]:
    unit = moved(file(f"/etc/systemd/system/{name}"), folder)
    return [line.split() for line in re.findall(r"^ExecStart=(.*)$", unit, re.M)]


def test_the_service_of_the_unit_answers_and_its_backup_can_be_restored(tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    environment = environment_of(tmp_path)
    ((*serve,),) = commands("legwork.service", tmp_path)
    backup, prune = commands("legwork-backup.service", tmp_path)
    with running([*serve, "--demo"], environment, tmp_path) as client:
        assert client.get("/readyz").status_code == 200
        subprocess.run(backup, env=from_page(environment), check=True, capture_output=True)
    (made,) = (tmp_path / "state" / "backups").iterdir()
    old = tmp_path / "state" / "backups" / "old"
    old.mkdir()
    os.utime(old, (time.time() - 40 * 86_400,) * 2)
    subprocess.run(prune, check=True)
    assert [*made.parent.iterdir()] == [made]
    elsewhere = {**environment, "LEGWORK_DATABASE_URL": f"sqlite:///{tmp_path}/a.db"}
    elsewhere["LEGWORK_SHOP_DATABASE_URL"] = f"sqlite:///{tmp_path}/b.db"
    done = subprocess.run([LEGWORK, "restore", made], env=from_page(elsewhere), capture_output=True, text=True)
    assert (done.returncode, done.stdout[:10]) == (0, "revision 1")


def test_the_upgrade_takes_three_lines_that_name_what_there_is() -> None:
    (section,) = re.findall(r"^## Upgrade\n.*?```sh\n(.*?)```", PAGE, re.S | re.M)
    backup, install, restart = section.splitlines()
    assert backup.split()[-1] == "legwork-backup"
    assert restart.split()[-1] == "legwork"
    readme = (ROOT / "README.md").read_text()
    assert install.partition("uv sync ")[2] in readme


TLS = """
daemon off; pid {folder}/nginx.pid; error_log {folder}/error.log; {user}
events {{}}
http {{
client_body_temp_path {folder}/a; fastcgi_temp_path {folder}/b; uwsgi_temp_path {folder}/c; scgi_temp_path {folder}/d;
proxy_temp_path {folder}/e; access_log off;
server {{
listen 127.0.0.1:{port} ssl; ssl_certificate {folder}/cert.pem; ssl_certificate_key {folder}/key.pem;
{lines}
}}
}}
"""


@contextmanager
def proxied(folder: Path, service: httpx.Client) -> Iterator[httpx.Client]:
    """nginx with the page's lines in front of a service, with a test certificate."""
    program = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        assert not os.environ.get("CI"), "nginx is missing"
        pytest.skip("needs nginx (apt-get install nginx-light)")
    subject = ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    made = ["-keyout", f"{folder}/key.pem", "-out", f"{folder}/cert.pem", "-days", "1", "-nodes", "-newkey", "rsa:2048"]
    subprocess.run(["openssl", "req", "-x509", *made, *subject], check=True, capture_output=True)
    (inside,) = blocks("nginx")
    assert len(inside.splitlines()) == 3
    port = free_port()
    user = "user root;" if os.geteuid() == 0 else ""
    inside = inside.replace("http://127.0.0.1:8000", str(service.base_url).rstrip("/"))
    config = TLS.format(folder=folder, user=user, port=port, lines=inside)
    (folder / "nginx.conf").write_text(config)
    trusted = ssl.create_default_context(cafile=str(folder / "cert.pem"))
    with subprocess.Popen([program, "-p", str(folder), "-c", str(folder / "nginx.conf")]) as nginx:
        with httpx.Client(base_url=f"https://localhost:{port}", verify=trusted, timeout=10) as client:
            for _ in range(100):
                try:
                    client.get("/healthz")
                    break
                except httpx.TransportError:
                    time.sleep(0.1)
            yield client
        nginx.terminate()


@pytest.mark.parametrize("trusted", [True, False])
def test_the_lines_for_a_proxy_bring_scheme_client_and_large_bodies(tmp_path: Path, trusted: bool) -> None:
    settings: dict[str, Any] = {"LEGWORK_DATABASE_URL": f"sqlite:///{tmp_path}/a.db"}
    settings["LEGWORK_SHOP_DATABASE_URL"] = f"sqlite:///{tmp_path}/b.db"
    if trusted:
        settings["LEGWORK_TRUSTED_PROXIES"] = "127.0.0.1"
        assert "`LEGWORK_TRUSTED_PROXIES=127.0.0.1`" in PAGE
    with (
        running([str(LEGWORK), "serve", "--demo"], settings, tmp_path) as service,
        proxied(tmp_path, service) as client,
    ):
        assert client.get("/readyz").json()["status"] == "ready"
        home = str(client.base_url).rstrip("/")
        form = client.post("/sign-in", data={"key": "legwork-0-none", "next": "/"}, headers={"Origin": home})
        assert form.status_code == (401 if trusted else 403)
        large = client.post("/v1/checks", content=b"x" * 3_000_000, headers={"Content-Type": "application/zip"})
        assert large.status_code not in (413, 502)
        too_large = client.post("/v1/checks", content=b"x" * 17_000_000, headers={"Content-Type": "application/zip"})
        assert too_large.status_code == 413
